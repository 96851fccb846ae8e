-- title: What the chart of lost hours says
-- reader: manager
-- grain: one row
-- columns:
--   title: the result in a sentence
WITH causes AS (
    SELECT coalesce(cause, 'no cause logged') AS cause, sum(hours) AS hours
    FROM pad_timeline
    WHERE activity = 'NPT'
    GROUP BY ALL
),
ranked AS (
    SELECT first(cause ORDER BY hours DESC) AS worst, max(hours) AS most, sum(hours) AS every, count(*) AS n FROM causes
)
SELECT
    CASE
        WHEN n = 0 THEN 'No lost time on record'
        ELSE format('{:.0f} h lost in all; the most, {:.0f} h, to {}', every, most, worst)
    END AS title
FROM ranked
