-- title: Result of the trade-off of the candidate designs
-- reader: engineer
-- grain: one row
-- chart: next_trade
-- columns:
--   title: the result in a sentence
WITH judged AS (
    SELECT
        count(*) AS n,
        arg_min(candidate, hours) AS quickest,
        min(hours) AS fewest,
        arg_max(candidate, margin) AS easiest,
        max(margin) AS widest
    FROM chart
)
SELECT
    CASE
        WHEN n = 0 THEN 'No candidate design is inside the range of the data for both hours and pressure'
        WHEN n = 1
            THEN format('{}: {} to fracture the pad, {} of margin', quickest, said(fewest, 'h'), said(widest, 'psi'))
        WHEN quickest = easiest THEN format(
            '{} is predicted both quickest ({}) and furthest from the limit ({}); not tested against each other here',
            quickest, said(fewest, 'h'), said(widest, 'psi')
        )
        ELSE format(
            '{} is predicted quickest ({}), {} furthest from the limit ({}); not tested against each other here',
            quickest, said(fewest, 'h'), easiest, said(widest, 'psi')
        )
    END AS title
FROM judged
