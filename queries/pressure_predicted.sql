-- title: Treating pressure at rate: measured against predicted with the whole pad left out
-- reader: engineer
-- grain: a stage
-- columns:
--   predicted [psi]: predicted from the other pads
--   observed [psi]: measured, at 90 % of the design rate or more
--   pad: pad, left out of the fit that predicts it
--   well: well
--   stage: stage, counted from the toe
SELECT p.predicted, p.observed, p.pad, w.well_name AS well, p.number AS stage
FROM predictions AS p
JOIN wells AS w USING (well_id)
WHERE p.model = 'treating_pressure'
ORDER BY p.pad, well, p.number
