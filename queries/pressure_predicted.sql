-- title: Treating pressure at rate: measured against predicted with the whole pad left out
-- reader: engineer
-- grain: a stage
-- columns:
--   predicted [psi]: predicted from the other pads
--   observed [psi]: measured, at 90 % of the design rate or more
--   pad: pad, left out of the fit that predicts it
--   crew: fracturing crew
--   formation: formation
--   design: design
--   quarter: quarter in which the stage began
--   well: well
--   stage: stage, counted from the toe
SELECT
    p.predicted,
    p.observed,
    p.pad,
    s.frac_crew AS crew,
    w.formation,
    s.design,
    m.quarter,
    w.well_name AS well,
    p.number AS stage
FROM predictions AS p
JOIN wells AS w USING (well_id)
LEFT JOIN stages AS s ON s.well_id = p.well_id AND s.stage = p.number
LEFT JOIN stage_metrics AS m ON m.well_id = p.well_id AND m.stage = p.number
WHERE p.model = 'treating_pressure'
ORDER BY p.pad, well, p.number
