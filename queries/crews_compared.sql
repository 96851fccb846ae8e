-- title: Minutes per crew, adjusted, against the mean of the crews it can be compared with
-- reader: analyst
-- grain: a crew
-- parameters:
--   comparison: frac_crews_pump_time or coil_crews_mill_time
-- columns:
--   crew: crew
--   difference [min]: adjusted difference, shrunken towards none
--   low [min]: lower 95 % limit, allowing for the number of crews
--   high [min]: upper limit of the same
--   unshrunken [min]: adjusted difference before shrinkage
--   compared: stages or plugs compared
--   excluded: stages or plugs of the crew left out
--   per: what the minutes are counted per: stage or plug
SELECT
    level AS crew,
    shrunken AS difference,
    shrunken_low AS low,
    shrunken_high AS high,
    effect AS unshrunken,
    rows AS compared,
    rows_excluded AS excluded,
    pads,
    separable,
    CASE outcome WHEN 'mill_min' THEN 'plug' ELSE 'stage' END AS per,
    note
FROM comparisons
WHERE comparison = $comparison
ORDER BY difference NULLS LAST, crew
