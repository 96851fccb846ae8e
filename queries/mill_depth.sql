-- title: Mill minutes of every plug against its depth
-- reader: engineer
-- grain: a plug
-- columns:
--   depth [ft]: set depth
--   mill_time [min]: from tag until the plug is drilled out
--   crew: coil crew
SELECT
    set_depth_ft AS depth, mill_min AS mill_time, coalesce(coil_crew, 'not recorded') AS crew, pad, formation, well, plug,
    quarter
FROM plug
WHERE mill_min IS NOT NULL AND set_depth_ft IS NOT NULL
ORDER BY well, depth
