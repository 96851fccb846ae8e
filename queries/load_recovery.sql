-- title: Load recovery and oil of each well's flowback
-- reader: engineer
-- grain: a well with flowback
-- columns:
--   days: days since the first of flowback
--   stages: measured stages
--   load_recovery [ratio]: water produced divided by clean fluid pumped, if all stages are measured
--   oil [bbl]: oil of the flowback
--   oil_bbl_ft [bbl/ft]: oil per foot of lateral
--   oil_bbl_ft_psi: oil per foot of lateral and psi of mean drawdown (reservoir minus flowing bottomhole pressure)
--   gas_oil_ratio: gas divided by oil over the last seven days [mcf/bbl]
WITH pumped AS (
    SELECT well_id, CASE WHEN count(clean_bbl) = count(*) THEN sum(clean_bbl) END AS clean_bbl, count(*) AS stages
    FROM stage
    GROUP BY well_id
),
flowed AS (
    SELECT
        well_id,
        any_value(well) AS well,
        any_value(pad) AS pad,
        any_value(lateral_ft) AS lateral_ft,
        max(flow_day) AS days,
        sum(water_bbl) AS water,
        sum(oil_bbl) AS oil,
        avg(drawdown_psi) AS drawdown,
        max(flow_day) AS last_day
    FROM flowback_day
    GROUP BY well_id
),
late AS (
    SELECT f.well_id, sum(f.gas_mcf) / nullif(sum(f.oil_bbl), 0) AS gas_oil_ratio
    FROM flowback_day AS f
    JOIN flowed AS w USING (well_id)
    WHERE f.flow_day > w.last_day - 7
    GROUP BY f.well_id
)
SELECT
    f.pad,
    f.well,
    f.days,
    p.stages,
    f.water / nullif(p.clean_bbl, 0) AS load_recovery,
    f.oil,
    f.oil / nullif(f.lateral_ft, 0) AS oil_bbl_ft,
    f.oil / nullif(f.lateral_ft, 0) / nullif(f.drawdown, 0) AS oil_bbl_ft_psi,
    l.gas_oil_ratio
FROM flowed AS f
LEFT JOIN pumped AS p USING (well_id)
LEFT JOIN late AS l USING (well_id)
ORDER BY f.pad, f.well
