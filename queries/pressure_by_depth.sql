-- title: Treating pressure carried to the design rate, by depth and design
-- reader: engineer
-- grain: a compared stage
-- columns:
--   depth [ft]: bottom perforation
--   pressure [psi]: treating pressure carried to the design rate with modelled losses
--   crew: fracturing crew
SELECT
    bottom_perf_ft AS depth, pressure_at_design_rate_psi AS pressure, design, designed_rate_bpm, reached_design_rate,
    drag_reduction, frac_crew AS crew, formation, pad, well, well_id, stage, quarter
FROM compared_stage
WHERE pressure_at_design_rate_psi IS NOT NULL AND bottom_perf_ft IS NOT NULL
ORDER BY pad, well, stage
