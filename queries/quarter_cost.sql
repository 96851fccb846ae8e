-- title: Cost per stage against budget, quarter by quarter
-- reader: manager
-- grain: a quarter, budget or spent
-- columns:
--   quarter: quarter of the service date
--   kind: budget, spent, or spent with a part that is only accrued: provisional
--   cost_per_stage [1000 USD]: cost lines of the wells over their measured stages
--   provisional: whether some of it is only accrued
--   amount [1000 USD]: the cost lines
WITH lines AS (
    SELECT
        concat(year(service_date), 'Q', quarter(service_date)) AS quarter,
        well_id,
        CASE WHEN state = 'budget' THEN 'budget' ELSE 'spent' END AS kind,
        state = 'accrued' AS accrued,
        CAST(amount AS DECIMAL(18, 4)) AS amount,  -- a sum that does not depend on the order of its lines
        -- an invoice takes the place of what was accrued for the same service
        state = 'accrued' AND bool_or(state = 'invoiced') OVER (PARTITION BY well_id, category) AS settled
    FROM cost
    WHERE currency = 'USD'
),
counted AS (
    SELECT well_id, count(*) AS stages FROM stage_metrics GROUP BY well_id
),
by_well AS (
    SELECT quarter, kind, well_id, sum(amount) AS amount, bool_or(accrued) AS accrued
    FROM lines
    WHERE NOT settled
    GROUP BY ALL
)
SELECT
    b.quarter,
    CASE WHEN b.kind = 'spent' AND bool_or(b.accrued) THEN 'spent, provisional' ELSE b.kind END AS kind,
    CAST(sum(b.amount) AS DOUBLE) / sum(c.stages) / 1000 AS cost_per_stage,
    bool_or(b.accrued) AS provisional,
    CAST(sum(b.amount) AS DOUBLE) / 1000 AS amount
FROM by_well AS b
JOIN counted AS c USING (well_id)
GROUP BY b.quarter, b.kind
ORDER BY b.quarter, b.kind
