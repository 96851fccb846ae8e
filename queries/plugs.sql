-- title: Every plug, and the run that milled it
-- reader: analyst
-- grain: a plug
-- columns:
--   pad: pad
--   well: well
--   well_id: our name of the well, as in the folder of its audit pages
--   plug: plug, by the stage it was set for
--   run: coil run
--   crew: coil crew
--   set_depth_ft [ft]: set depth
--   tag_time: when the mill met it, UTC
--   mill_min [min]: minutes from tag until the mill moved on below
--   cycle_min [min]: minutes from passing the previous plug
--   stalls: stalls of the motor
--   mill_differential_psi [psi]: circulating pressure above that of the free motor
--   plugs_since_wiper: plugs milled since the last wiper trip
--   wiper_before_next: whether a wiper trip followed
--   mill_confidence: how sure
--   off_depth_ft [ft]: tag less set depth, the run's own depth error taken out
--   missing_because: for each metric without a value, why
SELECT
    w.pad,
    coalesce(w.well_name, m.well_id) AS well,
    m.well_id,
    m.plug,
    m.run,
    r.coil_crew AS crew,
    p.set_depth_ft,
    m.tag_time,
    m.mill_min,
    m.cycle_min,
    m.stalls,
    m.mill_differential_psi,
    m.plugs_since_wiper,
    m.wiper_before_next,
    m.mill_confidence,
    m.off_depth_ft,
    m.missing_because
FROM plug_metrics AS m
LEFT JOIN wells AS w USING (well_id)
LEFT JOIN plugs AS p USING (well_id, plug)
LEFT JOIN coil_runs AS r ON r.well_id = m.well_id AND r.run = m.run
ORDER BY w.pad, well, p.set_depth_ft
