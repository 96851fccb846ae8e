-- title: Pump-down runs and their crews
-- grain: a pump-down run
-- key: well_id, run
-- follows: wireline_metrics, wireline, well_site
-- columns:
--   local_start: start of the run, or of the pump-down if the run has no start time, on the pad's clock
--   local_date: day of its start, on the pad's clock
--   quarter: quarter of its start, on the pad's clock
SELECT
    m.* EXCLUDE (fingerprint),
    r.wireline_crew,
    r.start_time,
    r.end_time,
    r.highest_tension_lbf,
    w.well,
    w.pad,
    w.formation,
    w.zone,
    timezone(w.zone, coalesce(r.start_time, m.pump_down_start)) AS local_start,
    local_start::DATE AS local_date,
    quarter_of(local_start) AS quarter
FROM wireline_metrics AS m
JOIN well_site AS w USING (well_id)
LEFT JOIN wireline AS r USING (well_id, run)
