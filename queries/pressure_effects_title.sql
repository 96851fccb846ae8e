-- title: Result of the chart of effects on treating pressure
-- reader: engineer
-- grain: one row
-- chart: pressure_effects
-- columns:
--   title: the result in a sentence
WITH counted AS (
    SELECT count(*) AS terms, count(difference) AS known, count(*) FILTER (p_value < 0.05) AS clear FROM chart
)
SELECT
    CASE
        WHEN terms = 0 THEN 'No model of treating pressure yet'
        WHEN clear = 0 THEN 'No variable is significantly associated with treating pressure, allowing for their number'
        ELSE format('{} of {} variables are significantly associated with treating pressure, allowing for their number', clear, known)
    END AS title
FROM counted
