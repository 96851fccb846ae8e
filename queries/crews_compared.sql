-- title: Adjusted minutes per crew, against the mean of the crews comparable with it
-- reader: analyst
-- grain: a crew
-- parameters:
--   comparison: frac_crews_pump_time, frac_crews_swap or coil_crews_mill_time
-- columns:
--   crew: crew
--   difference [min]: adjusted difference, from jobs on the same pads
--   low [min]: lower 95 % limit, for all crews that are compared together
--   high [min]: upper 95 % limit, for all crews that are compared together
--   shrunken [min]: best guess for the next job: the difference, shrunken towards none
--   compared: stages or plugs compared
--   excluded: stages or plugs of the crew excluded from the comparison
--   per: unit of the minutes: per stage, swap or plug
SELECT
    level AS crew,
    effect AS difference,
    joint_low AS low,
    joint_high AS high,
    shrunken,
    rows AS compared,
    rows_excluded AS excluded,
    pads,
    separable,
    CASE outcome WHEN 'mill_min' THEN 'plug' WHEN 'swap_min' THEN 'swap' ELSE 'stage' END AS per,
    note
FROM comparisons
WHERE comparison = $comparison
ORDER BY difference NULLS LAST, crew
