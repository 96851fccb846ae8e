-- title: Result of the chart of cost
-- reader: manager
-- grain: one row
-- chart: quarter_cost
-- columns:
--   title: the result in a sentence
WITH sums AS (
    SELECT
        sum(amount) FILTER (kind = 'budget') AS budget,
        sum(amount) FILTER (kind <> 'budget') AS spent,
        coalesce(bool_or(provisional) FILTER (kind <> 'budget'), false) AS provisional
    FROM chart
)
SELECT
    CASE
        WHEN budget IS NULL OR spent IS NULL THEN 'No cost lines of measured wells yet'
        ELSE concat(
            format('Spent {:+.1f} % against budget', 100 * (spent / budget - 1)),
            CASE WHEN provisional THEN '; provisional: part of it is only accrued' ELSE '' END
        )
    END AS title
FROM sums
