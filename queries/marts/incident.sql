-- title: Safety events on the pad's clock
-- grain: a safety event
-- key: pad, occurred_at
-- follows: incidents
-- columns:
--   well: well that it concerns, if any
--   severity: near miss, first aid, recordable or lost time; not stated if the record has no severity
--   local_time: time of the event, on the pad's clock
--   local_date: day of the event, on the pad's clock
--   quarter: quarter of the event, on the pad's clock
SELECT
    i.* EXCLUDE (source_id, source_row) REPLACE (coalesce(i.severity, 'not stated') AS severity),
    coalesce(w.well, i.well_id) AS well,
    timezone(coalesce(p.zone, default_zone()), i.occurred_at) AS local_time,
    local_time::DATE AS local_date,
    quarter_of(local_time) AS quarter
FROM incidents AS i
LEFT JOIN pad AS p ON p.pad = i.pad
LEFT JOIN well_site AS w USING (well_id)
