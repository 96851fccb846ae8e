-- title: What the chart of cost says
-- reader: manager
-- grain: one row
-- columns:
--   title: the result in a sentence
WITH sums AS (
    SELECT
        sum(amount) FILTER (state = 'budget') AS budget,
        sum(amount) FILTER (state <> 'budget') AS spent,
        coalesce(bool_or(state = 'accrued'), false) AS provisional
    FROM cost
    WHERE currency = 'USD'
)
SELECT
    CASE
        WHEN budget IS NULL OR spent IS NULL THEN 'No cost lines landed yet'
        ELSE concat(
            format('Spent {:+.1f} % against budget', 100 * (spent / budget - 1)),
            CASE WHEN provisional THEN '; the last quarter is provisional' ELSE '' END
        )
    END AS title
FROM sums
