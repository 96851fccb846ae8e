-- title: Treating pressure per design, adjusted, against the mean of the designs it can be compared with
-- reader: analyst
-- grain: a design
-- columns:
--   design: design
--   difference [psi]: adjusted difference, shrunken towards none
--   low [psi]: lower 95 % limit, allowing for the number of designs
--   high [psi]: upper limit of the same
--   unshrunken [psi]: adjusted difference before shrinkage
--   compared: stages compared
--   excluded: stages of the design left out
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
