-- title: Result of the chart of swaps
-- reader: analyst
-- grain: one row
-- columns:
--   title: the result in a sentence
WITH modes AS (
    SELECT coalesce(operation_mode, 'not recorded') AS mode, median(swap_min) AS middle
    FROM compared_stage
    WHERE swap_min IS NOT NULL
    GROUP BY mode
)
SELECT
    coalesce(
        'Median swap: ' || string_agg(format('{:.0f} min {}', middle, mode), ', ' ORDER BY middle)
        || ' (do not compare modes with each other)',
        'No two stages of one fleet on a pad yet'
    ) AS title
FROM modes
