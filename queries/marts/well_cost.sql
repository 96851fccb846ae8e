-- title: What each well was budgeted at and has cost
-- grain: a well and a currency
-- key: well_id, currency
-- columns:
--   budget: sum of the budget lines, in the currency
--   spent: sum of the invoiced lines and of the accrued ones that no invoice settles yet, in the currency
--   provisional: whether some of what was spent is only accrued
SELECT
    well_id,
    coalesce(currency, 'not stated') AS currency,
    CAST(sum(money(amount)) FILTER (kind = 'budget') AS DOUBLE) AS budget,
    CAST(sum(money(amount)) FILTER (kind = 'spent') AS DOUBLE) AS spent,
    coalesce(bool_or(state = 'accrued'), false) AS provisional
FROM cost_line
WHERE counts
GROUP BY ALL
