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
        count(p_value) AS tested,
        string_agg(crew, ', ' ORDER BY crew) FILTER (p_value < 0.05) AS beyond
    FROM chart
    WHERE crew <> 'limits'
)
SELECT
    CASE
        WHEN n = 0 THEN 'No proportion of screen-outs to compare yet'
        WHEN tested = 0 THEN format(
            'No crew worked two pads: a difference around {:.1f} % screen-outs is not separable from the pads', 100 * target
        )
        WHEN beyond IS NOT NULL THEN format(
            '{} beyond chance around {:.1f} % screen-outs, allowing for {} crews and for pads', beyond, 100 * target, n
        )
        ELSE format('No clear difference between {} crews around {:.1f} % screen-outs', n, 100 * target)
    END AS title
FROM judged
