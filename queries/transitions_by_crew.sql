-- title: Transition minutes per crew and operation mode
-- reader: analyst
-- grain: a crew and an operation mode
-- columns:
--   crew: fracturing crew
--   mode: operation mode
--   stages: stages with a preceding transition
--   pads: pads
--   middle [min]: median from the crew's last rate to its next first rate on the pad
--   p90 [min]: 90th percentile: nine of ten were shorter
SELECT
    frac_crew AS crew,
    coalesce(operation_mode, 'not recorded') AS mode,
    count(*) AS stages,
    count(DISTINCT pad) AS pads,
    median(transition_min) AS middle,
    quantile_cont(transition_min, 0.9) AS p90
FROM stage
WHERE transition_min IS NOT NULL
GROUP BY ALL
ORDER BY mode, crew
