-- title: Result of the chart of hours
-- reader: manager
-- grain: one row
-- chart: quarter_hours
-- columns:
--   title: the result in a sentence
SELECT
    CASE
        WHEN count(*) = 0 THEN 'No pad time on record yet'
        ELSE format(
            '{:.0f} % of pad time was pumping, {:.1f} % was lost',
            100 * coalesce(sum(hours) FILTER (activity = 'pumping'), 0) / sum(hours),
            100 * coalesce(sum(hours) FILTER (activity = 'NPT'), 0) / sum(hours)
        )
    END AS title
FROM chart
