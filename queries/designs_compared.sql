-- title: Adjusted treating pressure per design, against the mean of the designs comparable with it
-- reader: analyst
-- grain: a design
-- columns:
--   design: design
--   difference [psi]: adjusted difference, from jobs on the same pads
--   low [psi]: lower 95 % limit, for all designs that are compared together
--   high [psi]: upper 95 % limit, for all designs that are compared together
--   shrunken [psi]: best guess for the next job: the difference, shrunken towards none
--   compared: stages compared
--   excluded: stages of the design excluded from the comparison
SELECT
    level AS design,
    effect AS difference,
    joint_low AS low,
    joint_high AS high,
    shrunken,
    rows AS compared,
    rows_excluded AS excluded,
    pads,
    separable,
    note
FROM comparisons
WHERE comparison = 'designs_pressure'
ORDER BY difference NULLS LAST, design
