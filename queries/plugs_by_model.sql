-- title: Plugs by model: premature sets, leaks, pressure over the rating, and drilling out
-- reader: engineer
-- grain: a plug model
-- columns:
--   model: plug model; the material where no model is recorded
--   plugs: plugs listed
--   preset: plugs that set prematurely
--   leaking: plugs below whose stage the water hammer reflects from well below them: they may leak or have moved
--   over_rating: plugs whose modelled differential exceeded their rating
--   failures_per_100: plugs with one or more of these per 100
--   drilled_out: plugs with a mill time
--   mill_time [min]: median mill time
--   mass [lbm]: median mass
WITH doubted AS (
    SELECT
        well_id,
        number,
        bool_or(kind = 'deep_reflector') AS leaking,
        bool_or(kind = 'plug_over_rating') AS over_rating
    FROM findings
    WHERE level = 'stage' AND kind IN ('deep_reflector', 'plug_over_rating')
    GROUP BY ALL
),
judged AS (
    SELECT
        coalesce(p.plug_model, p.material, 'not recorded') AS model,
        coalesce(d.preset, false) AS preset,
        coalesce(f.leaking, false) AS leaking,
        coalesce(f.over_rating, false) AS over_rating,
        p.mill_min,
        p.mass_lbm
    FROM plug AS p
    LEFT JOIN pump_down AS d ON d.well_id = p.well_id AND d.run = p.plug
    LEFT JOIN doubted AS f ON f.well_id = p.well_id AND f.number = p.plug
)
SELECT
    model,
    count(*) AS plugs,
    count(*) FILTER (preset) AS preset,
    count(*) FILTER (leaking) AS leaking,
    count(*) FILTER (over_rating) AS over_rating,
    100 * count(*) FILTER (preset OR leaking OR over_rating) / count(*) AS failures_per_100,
    count(mill_min) AS drilled_out,
    median(mill_min) AS mill_time,
    median(mass_lbm) AS mass
FROM judged
GROUP BY model
ORDER BY plugs DESC, model
