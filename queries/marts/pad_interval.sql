-- title: Time of every pad by activity
-- grain: an interval of a pad's time
-- key: pad, start_time
-- follows: pad_timeline, pad
-- columns:
--   well: well that the interval belongs to, if any
--   local_start: start on the pad's clock
--   local_end: end on the pad's clock
--   local_date: day on which it begins, on the pad's clock
--   quarter: quarter in which it begins, on the pad's clock
WITH clocked AS (
    SELECT t.* EXCLUDE (fingerprint), coalesce(p.zone, default_zone()) AS zone
    FROM pad_timeline AS t
    LEFT JOIN pad AS p USING (pad)
)
SELECT
    c.*,
    coalesce(w.well, c.well_id) AS well,
    timezone(c.zone, c.start_time) AS local_start,
    timezone(c.zone, c.end_time) AS local_end,
    local_start::DATE AS local_date,
    quarter_of(local_start) AS quarter
FROM clocked AS c
LEFT JOIN well_site AS w USING (well_id)
