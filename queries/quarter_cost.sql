-- title: Cost per stage against budget, quarter by quarter
-- reader: manager
-- grain: a quarter, budget or spent
-- columns:
--   quarter: quarter of the service date
--   kind: budget, spent, or spent, provisional (part of the spent amount is only accrued)
--   cost_per_stage [1000 USD]: cost lines of the wells per measured stage
--   provisional: whether part of the amount is only accrued
--   amount [1000 USD]: sum of the cost lines
WITH by_well AS (
    SELECT c.quarter, c.kind, c.well_id, w.stages_measured, sum(money(c.amount)) AS amount, bool_or(c.state = 'accrued') AS accrued
    FROM cost_line AS c
    JOIN well AS w USING (well_id)
    WHERE c.counts AND c.currency = 'USD' AND w.stages_measured > 0
    GROUP BY ALL
)
SELECT
    coalesce(quarter, 'no date') AS quarter,
    CASE WHEN kind = 'spent' AND bool_or(accrued) THEN 'spent, provisional' ELSE kind END AS kind,
    CAST(sum(amount) AS DOUBLE) / sum(stages_measured) / 1000 AS cost_per_stage,
    bool_or(accrued) AS provisional,
    CAST(sum(amount) AS DOUBLE) / 1000 AS amount
FROM by_well
GROUP BY by_well.quarter, by_well.kind
ORDER BY by_well.quarter, by_well.kind
