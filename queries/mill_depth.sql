-- title: Mill minutes of every plug against its depth
-- reader: engineer
-- grain: a plug
-- columns:
--   depth [ft]: set depth
--   mill_time [min]: from tag until the mill moves on below
--   crew: coil crew
--   pad: pad
--   formation: formation
--   well: well
--   plug: plug, by the stage it was set for
--   quarter: quarter in which it was met
SELECT
    p.set_depth_ft AS depth,
    m.mill_min AS mill_time,
    coalesce(r.coil_crew, 'not recorded') AS crew,
    w.pad,
    w.formation,
    w.well_name AS well,
    m.plug,
    m.quarter
FROM plug_metrics AS m
JOIN plugs AS p USING (well_id, plug)
JOIN wells AS w USING (well_id)
LEFT JOIN coil_runs AS r ON r.well_id = m.well_id AND r.run = m.run
WHERE m.mill_min IS NOT NULL
ORDER BY well, depth
