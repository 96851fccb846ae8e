-- title: Result of the chart of hours
-- reader: manager
-- grain: one row
-- chart: quarter_hours
-- columns:
--   title: the result in a sentence
SELECT
    CASE
        WHEN count(*) = 0 THEN 'No fracturing time on record yet'
        ELSE format(
            'Of the fracturing hours, from first to last rate on each pad, {:.0f} % were pumping and {:.1f} % were lost',
            100 * coalesce(sum(hours) FILTER (activity = 'pumping'), 0) / sum(hours),
            100 * coalesce(sum(hours) FILTER (activity = 'NPT'), 0) / sum(hours)
        )
    END AS title
FROM chart
WHERE phase = 'fracturing'
