-- title: Adjusted minutes per crew, against the mean of the crews comparable with it
-- reader: analyst
-- grain: a crew
-- parameters:
--   comparison: frac_crews_pump_time or coil_crews_mill_time
-- columns:
--   crew: crew
--   difference [min]: adjusted difference, shrunken towards no difference
--   low [min]: lower 95 % limit, allowing for the number of crews
--   high [min]: upper 95 % limit, allowing for the number of crews
--   unshrunken [min]: adjusted difference before shrinkage
--   compared: stages or plugs compared
--   excluded: stages or plugs of the crew excluded from the comparison
--   per: unit of the minutes: per stage or per plug
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
