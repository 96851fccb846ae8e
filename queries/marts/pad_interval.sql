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
SELECT
    t.* EXCLUDE (fingerprint),
    coalesce(w.well, t.well_id) AS well,
    coalesce(p.zone, default_zone()) AS zone,
    timezone(coalesce(p.zone, default_zone()), t.start_time) AS local_start,
    timezone(coalesce(p.zone, default_zone()), t.end_time) AS local_end,
    local_start::DATE AS local_date,
    quarter_of(local_start) AS quarter
FROM pad_timeline AS t
LEFT JOIN pad AS p ON p.pad = t.pad
LEFT JOIN well_site AS w USING (well_id)
