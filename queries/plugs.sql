-- title: Every plug, and the run that milled it
-- reader: analyst
-- grain: a plug
-- columns:
--   crew: coil crew
SELECT
    pad, well, well_id, plug, run, coil_crew AS crew, set_depth_ft, tag_time, mill_min, cycle_min, stalls,
    mill_differential_psi, plugs_since_wiper, wiper_before_next, mill_confidence, off_depth_ft, missing_because
FROM plug
ORDER BY pad, well, set_depth_ft
