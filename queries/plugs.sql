-- title: Every plug, and the run that milled it
-- reader: analyst
-- grain: a plug
-- columns:
--   pad: pad
--   well: well
--   plug: plug, by the stage it was set for
--   run: coil run
--   crew: coil crew
--   set_depth_ft [ft]: set depth
--   tag_time: when the mill met it, UTC
--   mill_min [min]: minutes from tag until the mill moved on below
--   cycle_min [min]: minutes from passing the previous plug
--   mill_confidence: how sure
--   depth_error_ft [ft]: tag less set depth
--   missing_because: for each metric without a value, why
SELECT
    w.pad,
    coalesce(w.well_name, m.well_id) AS well,
    m.plug,
    m.run,
    r.coil_crew AS crew,
    p.set_depth_ft,
    m.tag_time,
    m.mill_min,
    m.cycle_min,
    m.mill_confidence,
    m.depth_error_ft,
    m.missing_because
FROM plug_metrics AS m
LEFT JOIN wells AS w USING (well_id)
LEFT JOIN plugs AS p USING (well_id, plug)
LEFT JOIN coil_runs AS r ON r.well_id = m.well_id AND r.run = m.run
ORDER BY w.pad, well, p.set_depth_ft
