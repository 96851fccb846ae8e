-- title: What the chart of transitions says
-- reader: analyst
-- grain: one row
-- columns:
--   title: the result in a sentence
WITH waited AS (
    SELECT
        coalesce(s.operation_mode, 'not recorded') AS mode,
        epoch(m.start_time - lag(m.end_time) OVER (PARTITION BY w.pad, s.frac_crew ORDER BY m.start_time)) / 60 AS minutes
    FROM stage_metrics AS m
    LEFT JOIN wells AS w USING (well_id)
    LEFT JOIN stages AS s USING (well_id, stage)
    WHERE m.start_time IS NOT NULL AND s.frac_crew IS NOT NULL
),
modes AS (
    SELECT mode, median(minutes) AS middle, count(*) AS n FROM waited WHERE minutes >= 0 GROUP BY mode
)
SELECT
    coalesce(
        'Median transition: ' || string_agg(format('{:.0f} min {}', middle, mode), ', ' ORDER BY middle)
        || ' (modes are not to be compared with each other)',
        'No two stages of one crew on a pad yet'
    ) AS title
FROM modes
