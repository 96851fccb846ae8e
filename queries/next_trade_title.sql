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
        max(margin) AS widest,
        max(hours) AS most,
        min(margin) AS least,
        arg_min(hours_high, hours) < min(hours_low) FILTER (hours > fewest_of_all) AS quicker,
        arg_max(margin_low, margin) > max(margin_high) FILTER (margin < widest_of_all) AS easier
    FROM (SELECT *, min(hours) OVER () AS fewest_of_all, max(margin) OVER () AS widest_of_all FROM chart)
)
SELECT
    CASE
        WHEN n = 0 THEN 'No candidate design is inside the range of the data for both hours and pressure'
        WHEN n = 1
            THEN format('{}: {} to fracture the pad, {} of margin', quickest, said(fewest, 'h'), said(widest, 'psi'))
        ELSE concat(
            CASE
                WHEN quicker THEN format('{} is predicted quickest ({})', quickest, said(fewest, 'h'))
                ELSE format('No clear order by hours ({} to {}: the intervals overlap)', said(fewest, 'h'), said(most, 'h'))
            END,
            CASE
                WHEN easier THEN format('; {} is furthest from the limit ({})', easiest, said(widest, 'psi'))
                ELSE format('; none by margin ({} to {})', said(least, 'psi'), said(widest, 'psi'))
            END
        )
    END AS title
FROM judged
