-- title: The last pad's time while it was fractured, one row a well
-- reader: manager
-- grain: an interval of the pad pumped last
-- columns:
--   lane: well, or the pad where the interval belongs to none
--   start_local: start on the pad's clock
--   end_local: end on the pad's clock
--   activity: pumping, wireline, swap, coil, standby, NPT or not booked
--   cause: cause of lost time
--   hours [h]: length
--   basis: record or time log
WITH last_pad AS (
    SELECT pad, min(start_time) AS pumped_from, max(end_time) AS pumped_to
    FROM pad_timeline
    WHERE activity = 'pumping'
    GROUP BY pad
    ORDER BY pumped_to DESC
    LIMIT 1
),
clock AS (
    SELECT pad, any_value(time_zone) AS zone FROM wells WHERE time_zone IS NOT NULL GROUP BY pad
)
SELECT
    coalesce(w.well_name, t.well_id, t.pad) AS lane,
    strftime(timezone(coalesce(c.zone, 'UTC'), t.start_time), '%Y-%m-%dT%H:%M:%S') AS start_local,
    strftime(timezone(coalesce(c.zone, 'UTC'), t.end_time), '%Y-%m-%dT%H:%M:%S') AS end_local,
    t.activity,
    t.cause,
    t.hours,
    t.basis
FROM pad_timeline AS t
JOIN last_pad USING (pad)
LEFT JOIN clock AS c USING (pad)
LEFT JOIN wells AS w USING (well_id)
WHERE t.start_time >= last_pad.pumped_from AND t.end_time <= last_pad.pumped_to
ORDER BY lane, t.start_time
