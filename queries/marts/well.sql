-- title: Wells: their stages, plugs and runs, their hours, cost and early oil
-- grain: a well in the wells table or in a record
-- key: well_id
-- follows: well_site, early_oil
-- columns:
--   quarter: quarter in which the first stage began, on the pad's clock
--   stages_measured: measured stages
--   plugs_measured: plugs on record
--   plugs_milled: plugs with a mill time
--   runs_measured: coil runs on record
--   mill_outs: mill-out runs
--   screen_outs: stages that screened out
--   design: most frequent design of its stages
--   frac_crew: most frequent crew of its stages
--   operation_mode: most frequent operation mode of its stages
--   coil_crew: crew of the first mill-out run
--   stage_length_ft [ft]: mean length of lateral treated per stage
--   stage_tvd_ft [ft]: mean true vertical depth of the perforations
--   proppant_lbm_ft [lbm/ft]: designed proppant of the measured stages per foot of lateral
--   hours_per_stage [h]: hours of the fleet per stage: mean of what its stages took the fleet on the pad, without standby; none for one stage
--   wiper_trips: wiper trips of the mill-out runs
--   toe_hours [h]: coil hours of toe preparation
--   toe_method: one run or two runs
--   budget_usd [USD]: sum of the budget lines
--   spent_usd [USD]: sum of the invoiced lines and of the accrued lines without an invoice
--   provisional: whether part of the spent amount is only accrued
--   cost_per_stage [1000 USD]: spent amount per measured stage
--   budget_per_stage [1000 USD]: budget per measured stage
--   oil_bbl_ft_90d [bbl/ft]: oil of the first 90 days on, per foot of lateral
--   oil_bbl_ft_180d [bbl/ft]: oil of the first 180 days on, per foot of lateral
WITH pumped AS (
    SELECT
        well_id,
        min(quarter) AS quarter,
        count(*) AS n,
        count(*) FILTER (screenout) AS screen_outs,
        mode(design ORDER BY design) AS design,
        mode(frac_crew ORDER BY frac_crew) AS frac_crew,
        mode(operation_mode ORDER BY operation_mode) AS operation_mode,
        avg(stage_length_ft) AS stage_length_ft,
        avg(tvd_ft) AS stage_tvd_ft,
        CASE WHEN count(designed_proppant_lbm) = count(*) THEN sum(designed_proppant_lbm) END AS proppant_lbm,
        count(fleet_min) AS timed,
        avg(fleet_min) / 60 AS hours_per_stage
    FROM stage
    GROUP BY well_id
),
plugged AS (SELECT well_id, count(*) AS n, count(mill_min) AS milled FROM plug GROUP BY well_id),
run AS (
    SELECT
        well_id,
        count(*) AS n,
        count(*) FILTER (mill_out) AS mill_outs,
        sum(wiper_trips) FILTER (mill_out) AS wiper_trips,
        first(coil_crew ORDER BY run) FILTER (mill_out) AS coil_crew
    FROM coil_run
    GROUP BY well_id
)
SELECT
    w.*,
    p.quarter,
    coalesce(p.n, 0)::INTEGER AS stages_measured,
    coalesce(g.n, 0)::INTEGER AS plugs_measured,
    coalesce(g.milled, 0)::INTEGER AS plugs_milled,
    coalesce(r.n, 0)::INTEGER AS runs_measured,
    coalesce(r.mill_outs, 0)::INTEGER AS mill_outs,
    coalesce(p.screen_outs, 0)::INTEGER AS screen_outs,
    p.design,
    p.frac_crew,
    p.operation_mode,
    r.coil_crew,
    p.stage_length_ft,
    p.stage_tvd_ft,
    p.proppant_lbm / nullif(w.lateral_ft, 0) AS proppant_lbm_ft,
    CASE WHEN p.timed > 1 THEN p.hours_per_stage END AS hours_per_stage,
    r.wiper_trips::DOUBLE AS wiper_trips,
    t.hours AS toe_hours,
    t.method AS toe_method,
    c.budget AS budget_usd,
    c.spent AS spent_usd,
    coalesce(c.provisional, false) AS provisional,
    c.spent / p.n / 1000 AS cost_per_stage,
    c.budget / p.n / 1000 AS budget_per_stage,
    e.production_excluded,
    e.oil_90d_bbl / nullif(w.lateral_ft, 0) AS oil_bbl_ft_90d,
    e.oil_180d_bbl / nullif(w.lateral_ft, 0) AS oil_bbl_ft_180d
FROM well_site AS w
LEFT JOIN pumped AS p USING (well_id)
LEFT JOIN plugged AS g USING (well_id)
LEFT JOIN run AS r USING (well_id)
LEFT JOIN toe AS t USING (well_id)
LEFT JOIN well_cost AS c ON c.well_id = w.well_id AND c.currency = 'USD'
LEFT JOIN early_oil AS e USING (well_id)
