-- title: Transition minutes by crew, operation modes kept apart
-- reader: analyst
-- grain: a crew and an operation mode
-- columns:
--   crew: fracturing crew
--   mode: operation mode
--   stages: stages waited for
--   pads: pads
--   middle [min]: median from the fleet's last rate to its next first rate
--   p90 [min]: nine in ten were shorter
WITH stages_run AS (
    SELECT
        w.pad,
        s.frac_crew AS crew,
        coalesce(s.operation_mode, 'not recorded') AS mode,
        epoch(m.start_time - lag(m.end_time) OVER (PARTITION BY w.pad, s.frac_crew ORDER BY m.start_time)) / 60 AS waited
    FROM stage_metrics AS m
    LEFT JOIN wells AS w USING (well_id)
    LEFT JOIN stages AS s USING (well_id, stage)
    WHERE m.start_time IS NOT NULL AND s.frac_crew IS NOT NULL
)
SELECT
    crew,
    mode,
    count(*) AS stages,
    count(DISTINCT pad) AS pads,
    median(waited) AS middle,
    quantile_cont(waited, 0.9) AS p90
FROM stages_run
WHERE waited >= 0
GROUP BY ALL
ORDER BY mode, crew
