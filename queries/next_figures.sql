-- title: Every figure of the candidate designs: physics against limits, predictions inside the data, sums
-- reader: engineer
-- grain: a figure of a candidate design
-- columns:
--   figure: name of the figure
--   value: value with its unit; none where the design lies outside the data
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
