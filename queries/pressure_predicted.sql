-- title: Treating pressure at rate: measured against predicted, each pad held out in turn
-- reader: engineer
-- grain: a stage
-- follows: stage
-- columns:
--   predicted [psi]: predicted from the other pads
--   observed [psi]: measured, at 90 % of the design rate or more
--   crew: fracturing crew
SELECT p.predicted, p.observed, s.pad, s.frac_crew AS crew, s.formation, s.design, s.quarter, s.well, s.stage
FROM predictions AS p
JOIN stage AS s ON s.well_id = p.well_id AND s.stage = p.number
WHERE p.model = 'treating_pressure'
ORDER BY s.pad, s.well, s.stage
