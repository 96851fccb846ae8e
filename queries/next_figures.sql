-- title: All figures of the candidate designs: physics against limits, predictions inside the range of the data, sums
-- reader: engineer
-- grain: a figure of a candidate design
-- columns:
--   figure: name of the figure
--   value: value with its unit; none if the design is outside the range of the data
--   limits: 90 % limits
SELECT
    replace(figure, '_', ' ') AS figure,
    design,
    said(value, unit) AS value,
    CASE WHEN low IS NOT NULL THEN format('{} to {}', said(low, unit), said(high, unit)) END AS limits,
    basis,
    note
FROM planned
ORDER BY figure, place
