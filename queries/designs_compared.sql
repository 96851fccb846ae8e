-- title: Adjusted treating pressure per design, against the mean of the designs comparable with it
-- reader: analyst
-- grain: a design
-- columns:
--   design: design
--   difference [psi]: adjusted difference, shrunken towards no difference
--   low [psi]: lower 95 % limit, allowing for the number of designs
--   high [psi]: upper 95 % limit, allowing for the number of designs
--   unshrunken [psi]: adjusted difference before shrinkage
--   compared: stages compared
--   excluded: stages of the design excluded from the comparison
SELECT
    level AS design,
    shrunken AS difference,
    shrunken_low AS low,
    shrunken_high AS high,
    effect AS unshrunken,
    rows AS compared,
    rows_excluded AS excluded,
    pads,
    separable,
    note
FROM comparisons
WHERE comparison = 'designs_pressure'
ORDER BY difference NULLS LAST, design
