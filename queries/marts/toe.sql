-- title: Toe preparations: runs, hours, acceptance and cost
-- grain: a well whose toe preparation is on record
-- key: well_id
-- follows: toe_prep_metrics, well_site
-- columns:
--   quarter: quarter in which the first of its runs began, on the pad's clock
--   method: one run or two runs
--   cost: lines of category toe preparation, without budget; none if they are in several currencies
--   cost_state: accrued if any part is accrued; otherwise invoiced
WITH spent AS (
    SELECT
        well_id,
        CASE WHEN count(DISTINCT coalesce(currency, '')) = 1 THEN CAST(sum(money(amount)) AS DOUBLE) END AS cost,
        CASE WHEN bool_or(state = 'accrued') THEN 'accrued' ELSE 'invoiced' END AS cost_state
    FROM cost_line
    WHERE counts AND kind = 'spent' AND category = 'toe preparation' AND amount IS NOT NULL
    GROUP BY well_id
),
begun AS (
    SELECT well_id, min(quarter) AS quarter FROM coil_run WHERE NOT mill_out GROUP BY well_id
)
SELECT
    m.* EXCLUDE (fingerprint),
    w.well,
    w.pad,
    w.formation,
    b.quarter,
    CASE WHEN m.one_run THEN 'one run' WHEN NOT m.one_run THEN 'two runs' END AS method,
    c.cost,
    CASE WHEN c.cost IS NOT NULL THEN c.cost_state END AS cost_state
FROM toe_prep_metrics AS m
JOIN well_site AS w USING (well_id)
LEFT JOIN begun AS b USING (well_id)
LEFT JOIN spent AS c USING (well_id)
