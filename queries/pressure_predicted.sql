-- title: Treating pressure at design rate: measured against predicted, each pad held out in turn
-- reader: engineer
-- grain: a stage
-- follows: stage
-- columns:
--   predicted [psi]: predicted from the other pads
--   observed [psi]: measured, carried to the design rate with modelled losses
--   reached_design_rate: whether the stage reached 90 % of its design rate
--   crew: fracturing crew
SELECT p.predicted, p.observed, s.pad, s.frac_crew AS crew, s.formation, s.design, s.quarter, s.well, s.stage, s.reached_design_rate
FROM predictions AS p
JOIN stage AS s ON s.well_id = p.well_id AND s.stage = p.number
WHERE p.model = 'treating_pressure'
ORDER BY s.pad, s.well, s.stage
