-- title: What the chart of every stage's pump time says
-- reader: analyst
-- grain: one row
-- columns:
--   title: the result in a sentence
WITH middle AS (
    SELECT s.frac_crew, median(m.pump_time_min) AS minutes
    FROM stage_metrics AS m
    JOIN stages AS s USING (well_id, stage)
    WHERE m.pump_time_min IS NOT NULL AND s.frac_crew IS NOT NULL
    GROUP BY s.frac_crew
)
SELECT
    CASE
        WHEN count(*) = 0 THEN 'No stage with a crew and a pump time yet'
        ELSE format(
            'Before adjustment, crews'' medians run from {:.0f} to {:.0f} min a stage', min(minutes), max(minutes)
        )
    END AS title
FROM middle
