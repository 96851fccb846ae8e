-- title: Time of the last pad while it was fractured, one row per well
-- reader: manager
-- grain: an interval of the pad pumped last
-- columns:
--   lane: well, or the pad if the interval belongs to no well
--   start_local: start on the pad's clock
--   end_local: end on the pad's clock
WITH last_pad AS (
    SELECT pad, min(start_time) AS pumped_from, max(end_time) AS pumped_to
    FROM pad_interval
    WHERE activity = 'pumping'
    GROUP BY pad
    ORDER BY pumped_to DESC
    LIMIT 1
)
SELECT
    coalesce(t.well, t.pad) AS lane,
    strftime(t.local_start, '%Y-%m-%dT%H:%M:%S') AS start_local,
    strftime(t.local_end, '%Y-%m-%dT%H:%M:%S') AS end_local,
    t.activity,
    t.cause,
    t.hours,
    t.basis,
    t.pad
FROM pad_interval AS t
JOIN last_pad USING (pad)
WHERE t.start_time >= last_pad.pumped_from AND t.end_time <= last_pad.pumped_to
ORDER BY lane, t.start_time
