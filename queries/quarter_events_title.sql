-- title: Result of the chart of safety events
-- reader: manager
-- grain: one row
-- chart: quarter_events
-- columns:
--   title: the result in a sentence
SELECT
    CASE
        WHEN count(*) = 0 THEN 'No safety event on record: none occurred, or none was recorded'
        ELSE format(
            '{} safety events on record in {} stages, {} of them near misses', sum(events)::INTEGER,
            (SELECT count(*) FROM stage), coalesce(sum(events) FILTER (severity = 'near miss'), 0)::INTEGER
        )
    END AS title
FROM chart
