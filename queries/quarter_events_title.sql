-- title: What the chart of safety events says
-- reader: manager
-- grain: one row
-- columns:
--   title: the result in a sentence
WITH counted AS (
    SELECT count(*) AS n, count(*) FILTER (severity = 'near miss') AS near_misses FROM incidents
),
pumped AS (SELECT count(*) AS stages FROM stage_metrics)
SELECT
    CASE
        WHEN n = 0 THEN 'No safety event on record: none happened, or none was recorded'
        ELSE format('{} safety events on record in {} stages, {} of them near misses', n, stages, near_misses)
    END AS title
FROM counted, pumped
