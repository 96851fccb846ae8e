-- title: Every figure of the candidate designs: physics against limits, predictions inside the data, sums
-- reader: engineer
-- grain: a figure of a candidate design
-- columns:
--   figure: what is said of it
--   design: name of the design in the plan file
--   value: value with its unit; none where the design lies outside the data
--   limits: 90 % limits
--   basis: physics, model, count or sum
--   note: what a reader must know
SELECT
    replace(figure, '_', ' ') AS figure,
    design,
    said(value, unit) AS value,
    CASE WHEN low IS NOT NULL THEN format('{} to {}', said(low, unit), said(high, unit)) END AS limits,
    basis,
    note
FROM planned
ORDER BY figure, place
