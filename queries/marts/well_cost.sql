-- title: Budget and cost of each well
-- grain: a well and a currency
-- key: well_id, currency
-- columns:
--   budget: sum of the budget lines, in the currency
--   spent: sum of the invoiced lines and of the accrued lines without an invoice, in the currency
--   provisional: whether part of the spent amount is only accrued
SELECT
    well_id,
    coalesce(currency, 'not stated') AS currency,
    CAST(sum(money(amount)) FILTER (kind = 'budget') AS DOUBLE) AS budget,
    CAST(sum(money(amount)) FILTER (kind = 'spent') AS DOUBLE) AS spent,
    coalesce(bool_or(state = 'accrued' AND amount IS NOT NULL), false) AS provisional
FROM cost_line
WHERE counts
GROUP BY ALL
