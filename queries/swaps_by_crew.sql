-- title: Swap minutes per crew and operation mode
-- reader: analyst
-- grain: a crew and an operation mode
-- columns:
--   crew: fracturing crew that pumped the stage after the swap
--   mode: operation mode
--   stages: stages with a swap before them
--   pads: pads
--   middle [min]: median of the fleet's gap without lost time, standby and, on a single well, wireline
--   p90 [min]: 90th percentile: nine of ten were shorter
SELECT
    frac_crew AS crew,
    coalesce(operation_mode, 'not recorded') AS mode,
    count(*) AS stages,
    count(DISTINCT pad) AS pads,
    median(swap_min) AS middle,
    quantile_cont(swap_min, 0.9) AS p90
FROM compared_stage
WHERE swap_min IS NOT NULL AND frac_crew IS NOT NULL
GROUP BY ALL
ORDER BY mode, crew
