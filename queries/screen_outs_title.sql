-- title: Result of the funnel of screen-outs
-- reader: analyst
-- grain: one row
-- chart: screen_outs
-- columns:
--   title: the result in a sentence
WITH judged AS (
    SELECT
        count(*) AS n,
        any_value(target) AS target,
        string_agg(crew, ', ' ORDER BY crew) FILTER (share > high_998 OR share < low_998) AS beyond,
        string_agg(crew, ', ' ORDER BY crew) FILTER (share > high_95 OR share < low_95) AS outside
    FROM chart
    WHERE crew <> 'limits'
)
SELECT
    CASE
        WHEN n = 0 THEN 'No proportion of screen-outs to compare yet'
        WHEN beyond IS NOT NULL
            THEN format('{} outside the limits of chance around {:.1f} % screen-outs', beyond, 100 * target)
        WHEN outside IS NOT NULL THEN format(
            '{} outside the 95 % limits around {:.1f} % screen-outs, inside the 99.8 % limits', outside, 100 * target
        )
        ELSE format('No clear difference between {} crews around {:.1f} % screen-outs', n, 100 * target)
    END AS title
FROM judged
