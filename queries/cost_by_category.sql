-- title: Spent against budget by category
-- reader: manager
-- grain: a category
-- columns:
--   category: cost category
--   wells: wells with a budget and a spent amount in the category; only these are summed
--   budget [1000 USD]: sum of their budget lines
--   spent [1000 USD]: sum of their invoiced lines, and of accrued ones without an invoice
--   variance [1000 USD]: spent minus budget
--   variance_share [ratio]: variance divided by budget
--   provisional: whether part of the spent amount is only accrued
--   wells_without_budget: wells that spent in the category without a budget for it
--   wells_without_spending: wells with a budget and nothing spent yet
WITH per_well AS (
    SELECT
        well_id,
        coalesce(category, 'no category') AS category,
        sum(money(amount)) FILTER (kind = 'budget') AS budget,
        sum(money(amount)) FILTER (kind = 'spent') AS spent,
        coalesce(bool_or(state = 'accrued'), false) AS accrued
    FROM cost_line
    WHERE counts AND currency = 'USD' AND amount IS NOT NULL
    GROUP BY ALL
),
marked AS (SELECT *, budget IS NOT NULL AND spent IS NOT NULL AS known FROM per_well)
SELECT
    category,
    count(*) FILTER (known) AS wells,
    CAST(sum(budget) FILTER (known) AS DOUBLE) / 1000 AS budget,
    CAST(sum(spent) FILTER (known) AS DOUBLE) / 1000 AS spent,
    CAST(sum(spent - budget) FILTER (known) AS DOUBLE) / 1000 AS variance,
    CAST(sum(spent - budget) FILTER (known) AS DOUBLE) / nullif(CAST(sum(budget) FILTER (known) AS DOUBLE), 0)
        AS variance_share,
    coalesce(bool_or(accrued) FILTER (known), false) AS provisional,
    count(*) FILTER (budget IS NULL) AS wells_without_budget,
    count(*) FILTER (spent IS NULL) AS wells_without_spending
FROM marked
GROUP BY category
ORDER BY abs(variance) DESC NULLS LAST, category
