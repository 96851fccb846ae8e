-- title: What to look at next in the comparisons of crews and designs
-- reader: analyst
-- grain: one row
-- columns:
--   sentence: what to look at next
WITH several AS (SELECT *, count(*) OVER (PARTITION BY comparison) AS levels FROM comparisons),
never AS (SELECT level FROM several WHERE levels > 1 GROUP BY level HAVING bool_and(NOT separable)),
apart AS (SELECT string_agg(level, ', ' ORDER BY level) AS names FROM never),
doubt AS (SELECT count(*) AS stages, count(*) FILTER (isip_confidence IN ('low', 'none')) AS doubtful FROM stage)
SELECT
    CASE
        WHEN d.stages = 0 THEN 'nothing is measured yet'
        WHEN (SELECT count(*) FROM comparisons) = 0 AND (SELECT count(frac_crew) FROM stage) = 0
            THEN 'no crew is on record yet: the stages table names it'
        WHEN a.names IS NOT NULL THEN format(
            '{} cannot be compared in any comparison; the table below says why, and which job would connect them',
            a.names
        )
        WHEN d.doubtful > 0 THEN format(
            '{} of {} stages have an ISIP of low confidence or none: amend or confirm them before designs are judged by it',
            d.doubtful, d.stages
        )
        ELSE 'all crews and designs on record are connected and every ISIP has medium or high confidence'
    END AS sentence
FROM apart AS a, doubt AS d
