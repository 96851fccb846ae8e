-- title: Sums and counts of a measure by job, for the trend of the jobs that a reader selects
-- reader: manager
-- grain: a quarter, pad, crew, formation and design
-- parameters:
--   metric: mill_min or completed_pump_time_min
-- columns:
--   quarter: quarter, on the pad's clock
--   pad: pad
--   crew: coil crew for mill_min, fracturing crew for completed_pump_time_min
--   formation: formation
--   design: design
--   total [min]: sum
--   n: stages or plugs
WITH measured AS (
    SELECT 'mill_min' AS metric, quarter, pad, coil_crew AS crew, formation, design, mill_min AS minutes FROM plug
    UNION ALL
    SELECT 'completed_pump_time_min', quarter, pad, frac_crew, formation, design, completed_pump_time_min FROM compared_stage
)
SELECT
    quarter,
    coalesce(pad, 'not recorded') AS pad,
    coalesce(crew, 'not recorded') AS crew,
    coalesce(formation, 'not recorded') AS formation,
    coalesce(design, 'not recorded') AS design,
    sum(minutes) AS total,
    count(*) AS n
FROM measured
WHERE metric = $metric AND minutes IS NOT NULL
GROUP BY ALL
ORDER BY ALL
