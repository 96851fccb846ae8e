-- title: Coil runs: hours, reach, cleaning and crew
-- grain: a measured coil run
-- key: well_id, run
-- follows: coil_run_metrics, coil_runs, well_site
-- columns:
--   mill_out: whether it milled plugs; true if no table gives the purpose of the run
--   local_start: first sample of the record, on the pad's clock
--   local_date: day on which the record begins, on the pad's clock
--   quarter: quarter in which the record begins, on the pad's clock
SELECT
    m.* EXCLUDE (fingerprint),
    r.* EXCLUDE (well_id, run, source_id, source_row),
    coalesce(r.kind, 'mill-out') = 'mill-out' AS mill_out,
    w.well,
    w.pad,
    w.formation,
    w.zone,
    timezone(w.zone, m.record_start) AS local_start,
    local_start::DATE AS local_date,
    quarter_of(local_start) AS quarter
FROM coil_run_metrics AS m
JOIN well_site AS w USING (well_id)
LEFT JOIN coil_runs AS r USING (well_id, run)
