-- title: Where the pads' hours went, quarter by quarter
-- reader: manager
-- grain: a quarter and an activity
-- columns:
--   quarter: quarter in which the pad's interval began, on the pad's clock
--   activity: pumping, wireline, swap, coil, standby or NPT
--   hours [h]: hours booked
--   share [ratio]: share of the quarter's hours
WITH zones AS (
    SELECT pad, any_value(time_zone) AS zone FROM wells WHERE time_zone IS NOT NULL GROUP BY pad
),
booked AS (
    SELECT
        timezone(coalesce(z.zone, 'UTC'), a.start_time) AS local_start,
        a.activity,
        epoch(a.end_time - a.start_time) / 3600 AS hours
    FROM activity AS a
    LEFT JOIN zones AS z USING (pad)
),
summed AS (
    SELECT
        concat(year(local_start), 'Q', quarter(local_start)) AS quarter,
        activity,
        sum(hours) AS hours
    FROM booked
    GROUP BY ALL
)
SELECT quarter, activity, hours, hours / sum(hours) OVER (PARTITION BY quarter) AS share
FROM summed
ORDER BY quarter, activity
