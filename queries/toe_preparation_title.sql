-- title: Result of the chart of toe preparations
-- reader: engineer
-- grain: one row
-- chart: toe_preparation
-- columns:
--   title: the result in a sentence
WITH summed AS (
    SELECT
        count(*) FILTER (method = 'one run') AS ones,
        count(*) FILTER (method = 'two runs') AS twos,
        median(hours) FILTER (method = 'one run') AS one_h,
        median(hours) FILTER (method = 'two runs') AS two_h,
        median(cost) FILTER (method = 'one run') AS one_cost,
        median(cost) FILTER (method = 'two runs') AS two_cost,
        -- whether any formation has both
        (SELECT bool_or(methods > 1) FROM (SELECT count(DISTINCT method) AS methods FROM chart GROUP BY formation)) AS mixed
    FROM chart
)
SELECT
    CASE
        WHEN ones + twos = 0 THEN 'No toe preparation on record'
        WHEN ones = 0 OR twos = 0
            THEN format('{} toe preparations on record, all in {}', ones + twos, CASE WHEN ones > 0 THEN 'one run' ELSE 'two runs' END)
        ELSE format(
            'One run took {:.1f} h ({} wells), two runs {:.1f} h ({} wells){}: medians, unadjusted',
            one_h, ones, two_h, twos,
            CASE
                WHEN one_cost IS NULL OR two_cost IS NULL THEN ''
                ELSE format('; one run cost {:.0f} % of two', 100 * one_cost / two_cost)
            END
        ) || CASE WHEN mixed THEN '' ELSE '; no formation has both, so formation may explain it' END
    END AS title
FROM summed
