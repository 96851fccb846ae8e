-- title: Lost hours by cause, quarter by quarter
-- reader: manager
-- grain: a quarter, a pad and a cause
-- columns:
--   quarter: quarter in which the loss began, on the pad's clock
--   pad: pad
--   cause: cause as logged
--   hours [h]: hours lost, overlapping entries counted once
--   events: intervals
WITH clock AS (
    SELECT pad, any_value(time_zone) AS zone FROM wells WHERE time_zone IS NOT NULL GROUP BY pad
),
lost AS (
    SELECT timezone(coalesce(c.zone, 'UTC'), t.start_time) AS local_start, t.pad, t.cause, t.hours
    FROM pad_timeline AS t
    LEFT JOIN clock AS c USING (pad)
    WHERE t.activity = 'NPT'
)
SELECT
    concat(year(local_start), 'Q', quarter(local_start)) AS quarter,
    pad,
    coalesce(cause, 'no cause logged') AS cause,
    sum(hours) AS hours,
    count(*) AS events
FROM lost
GROUP BY ALL
ORDER BY quarter, cause, pad
