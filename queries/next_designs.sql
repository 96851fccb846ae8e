-- title: One figure of each candidate design for the next pad
-- reader: engineer
-- grain: a candidate design
-- parameters:
--   figure: pressure_margin or another figure in psi
-- columns:
--   candidate: name of the design in the plan file
--   value [psi]: predicted value; none if the design is outside the range of the data
--   low [psi]: lower 90 % limit
--   high [psi]: upper 90 % limit
SELECT design AS candidate, value, low, high, note
FROM planned
WHERE figure = $figure
ORDER BY place
