-- title: Cost per stage, per plug milled and per lateral foot of every well
-- reader: manager
-- grain: a well and a state of its cost lines
-- columns:
--   pad: pad
--   well: well
--   state: budget, accrued or invoiced; never added up
--   currency: currency
--   price_basis: price basis
--   cost: sum of the lines
--   per_stage: cost of all lines per stage measured
--   per_plug: coiled tubing lines per plug milled
--   per_lateral_ft: cost of all lines per foot from heel to toe
--   provisional: whether accrued lines are still open
--   missing: what is missing for a figure
WITH lines AS (
    SELECT
        well_id,
        state,
        currency,
        price_basis,
        sum(amount) AS cost,
        sum(amount) FILTER (category = 'coiled tubing') AS coil_cost,
        count(*) FILTER (amount IS NULL) AS without_amount
    FROM cost
    GROUP BY ALL
),
done AS (SELECT well_id, count(*) AS stages FROM stage_metrics GROUP BY well_id),
milled AS (SELECT well_id, count(mill_min) AS plugs FROM plug_metrics GROUP BY well_id)
SELECT
    w.pad,
    w.well_name AS well,
    coalesce(c.state, 'no cost line') AS state,
    c.currency,
    c.price_basis,
    c.cost,
    c.cost / nullif(d.stages, 0) AS per_stage,
    c.coil_cost / nullif(m.plugs, 0) AS per_plug,
    c.cost / nullif(w.toe_md_ft - w.heel_md_ft, 0) AS per_lateral_ft,
    coalesce(c.state = 'accrued', false) AS provisional,
    nullif(
        concat_ws(
            '; ',
            CASE WHEN c.well_id IS NULL THEN 'no cost line' END,
            CASE WHEN c.without_amount > 0 THEN format('{} line(s) without amount', c.without_amount) END,
            CASE WHEN d.stages IS NULL THEN 'no stage measured' END,
            CASE WHEN coalesce(m.plugs, 0) = 0 THEN 'no plug milled' END,
            CASE WHEN c.well_id IS NOT NULL AND c.coil_cost IS NULL THEN 'no coiled tubing line' END,
            CASE WHEN w.toe_md_ft IS NULL OR w.heel_md_ft IS NULL THEN 'heel or toe unknown' END
        ),
        ''
    ) AS missing
FROM wells AS w
LEFT JOIN lines AS c USING (well_id)
LEFT JOIN done AS d USING (well_id)
LEFT JOIN milled AS m USING (well_id)
ORDER BY w.pad, well, state
