-- title: Cost of the stages pumped in each quarter, against budget: per stage, completed foot and pound of proppant
-- reader: manager
-- grain: a quarter, budget or spent
-- columns:
--   quarter: quarter in which the stages were pumped; each stage carries an equal share of its well's cost lines, whenever they are dated
--   kind: budget, spent, or spent, provisional (part of the spent amount is only accrued)
--   cost_per_stage [1000 USD]: cost of the quarter's stages divided by their number
--   cost_per_lateral_ft [USD/ft]: the same per foot of lateral that they treat; none if a length is unknown
--   cost_per_proppant_lbm [USD/lbm]: the same per pound of proppant placed; none if a mass is unknown
--   stages: stages of the wells with such lines
--   wells: wells with such lines
--   provisional: whether part of the amount is only accrued
--   amount [1000 USD]: cost of the quarter's stages
WITH per_well AS (
    SELECT well_id, kind, sum(money(amount)) AS amount, bool_or(state = 'accrued') AS accrued
    FROM cost_line
    WHERE counts AND currency = 'USD' AND amount IS NOT NULL
    GROUP BY ALL
),
served AS (
    SELECT
        well_id,
        quarter,
        count(*) AS stages,
        CASE WHEN count(stage_length_ft) = count(*) THEN sum(stage_length_ft) END AS lateral_ft,
        CASE WHEN count(proppant_lbm) = count(*) THEN sum(proppant_lbm) END AS proppant_lbm
    FROM stage
    GROUP BY ALL
),
shared AS (
    SELECT
        s.*,
        c.kind,
        c.accrued,
        c.amount * s.stages / sum(s.stages) OVER (PARTITION BY s.well_id, c.kind) AS amount
    FROM served AS s
    JOIN per_well AS c USING (well_id)
)
SELECT
    coalesce(quarter, 'no date') AS quarter,
    CASE WHEN kind = 'spent' AND bool_or(accrued) THEN 'spent, provisional' ELSE kind END AS kind,
    CAST(sum(amount) AS DOUBLE) / sum(stages) / 1000 AS cost_per_stage,
    CASE WHEN count(lateral_ft) = count(*) THEN CAST(sum(amount) AS DOUBLE) / nullif(sum(lateral_ft), 0) END
        AS cost_per_lateral_ft,
    CASE WHEN count(proppant_lbm) = count(*) THEN CAST(sum(amount) AS DOUBLE) / nullif(sum(proppant_lbm), 0) END
        AS cost_per_proppant_lbm,
    sum(stages)::INTEGER AS stages,
    count(DISTINCT well_id) AS wells,
    bool_or(accrued) AS provisional,
    CAST(sum(amount) AS DOUBLE) / 1000 AS amount
FROM shared
GROUP BY shared.quarter, shared.kind
ORDER BY shared.quarter, shared.kind
