-- title: Result of the chart of transitions
-- reader: analyst
-- grain: one row
-- columns:
--   title: the result in a sentence
WITH modes AS (
    SELECT coalesce(operation_mode, 'not recorded') AS mode, median(transition_min) AS middle
    FROM stage
    WHERE transition_min IS NOT NULL
    GROUP BY mode
)
SELECT
    coalesce(
        'Median transition: ' || string_agg(format('{:.0f} min {}', middle, mode), ', ' ORDER BY middle)
        || ' (do not compare modes with each other)',
        'No two stages of one crew on a pad yet'
    ) AS title
FROM modes
