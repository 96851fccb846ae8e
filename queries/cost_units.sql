-- title: Cost per stage, per plug milled and per lateral foot of every well
-- reader: manager
-- grain: a well and a state of its cost lines
-- follows: well
-- columns:
--   state: budget, accrued or invoiced
--   cost: sum of the lines, in the currency
--   counted: the part that is not replaced by an invoice; add up only this part
--   per_stage: cost of all lines per measured stage
--   per_plug: coiled tubing lines per plug milled
--   per_lateral_ft: cost of all lines per foot from heel to toe
--   provisional: whether accrued lines are still open
--   missing: inputs that are missing for a figure
WITH lines AS (
    SELECT
        well_id,
        state,
        currency,
        price_basis,
        CAST(sum(money(amount)) AS DOUBLE) AS cost,
        CAST(sum(money(amount)) FILTER (counts) AS DOUBLE) AS counted,
        CAST(sum(money(amount)) FILTER (category = 'coiled tubing') AS DOUBLE) AS coil_cost,
        count(*) FILTER (amount IS NULL) AS without_amount
    FROM cost_line
    GROUP BY ALL
)
SELECT
    w.pad,
    w.well,
    coalesce(c.state, 'no cost line') AS state,
    c.currency,
    c.price_basis,
    c.cost,
    c.counted,
    c.cost / nullif(w.stages_measured, 0) AS per_stage,
    c.coil_cost / nullif(w.plugs_milled, 0) AS per_plug,
    c.cost / nullif(w.lateral_ft, 0) AS per_lateral_ft,
    coalesce(c.state = 'accrued' AND c.counted > 0, false) AS provisional,
    nullif(
        concat_ws(
            '; ',
            CASE WHEN c.well_id IS NULL THEN 'no cost line' END,
            CASE WHEN c.without_amount > 0 THEN format('{} line(s) without amount', c.without_amount) END,
            CASE WHEN w.stages_measured = 0 THEN 'no stage measured' END,
            CASE WHEN w.plugs_milled = 0 THEN 'no plug milled' END,
            CASE WHEN c.well_id IS NOT NULL AND c.coil_cost IS NULL THEN 'no coiled tubing line' END,
            CASE WHEN w.lateral_ft IS NULL THEN 'heel or toe unknown' END
        ),
        ''
    ) AS missing
FROM well AS w
LEFT JOIN lines AS c USING (well_id)
ORDER BY w.pad, w.well, state
