-- title: What the chart of hours says
-- reader: manager
-- grain: one row
-- columns:
--   title: the result in a sentence
WITH hours AS (
    SELECT activity, sum(epoch(end_time - start_time)) / 3600 AS hours FROM activity GROUP BY activity
),
total AS (
    SELECT
        sum(hours) AS every,
        sum(hours) FILTER (activity = 'pumping') AS pumping,
        coalesce(sum(hours) FILTER (activity = 'NPT'), 0) AS lost
    FROM hours
)
SELECT
    CASE
        WHEN every IS NULL THEN 'No time log landed yet'
        ELSE format('{:.0f} % of pad time was pumping, {:.1f} % was lost', 100 * pumping / every, 100 * lost / every)
    END AS title
FROM total
