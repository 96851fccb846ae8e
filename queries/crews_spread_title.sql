-- title: Result of the chart of pump time of every stage
-- reader: analyst
-- grain: one row
-- chart: crews_spread
-- columns:
--   title: the result in a sentence
WITH middle AS (SELECT crew, median(pump_time) AS minutes FROM chart GROUP BY crew)
SELECT
    CASE
        WHEN count(*) = 0 THEN 'No stage with a crew and a pump time yet'
        ELSE format(
            'Before adjustment, crews'' medians range from {:.0f} to {:.0f} min per stage', min(minutes), max(minutes)
        )
    END AS title
FROM middle
