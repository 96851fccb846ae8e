-- title: Stage values measured here, with the values reported by the providers
-- grain: a stage and a value that is both measured and reported
-- key: well_id, stage, measure
-- follows: stage
-- columns:
--   measure: name of the value; its unit is part of the name
--   ours: ISIP picked here, amendments included
--   reported: by the provider
--   difference: ours minus reported
--   share: difference divided by reported
--   confidence: confidence of our pick, or amended or confirmed, if the value is a pick
WITH ours AS (
    UNPIVOT (
        SELECT
            well_id, stage, isip_psi, breakdown_pressure_psi, avg_treating_pressure_psi, max_treating_pressure_psi,
            pressure_5min_psi, pressure_10min_psi, pressure_15min_psi, avg_slurry_rate_bpm, max_slurry_rate_bpm,
            clean_bbl, pad_bbl, flush_bbl, proppant_lbm
        FROM stage
    ) ON COLUMNS(* EXCLUDE (well_id, stage)) INTO NAME measure VALUE ours
),
theirs AS (
    UNPIVOT (
        SELECT * EXCLUDE (source_id, source_row) FROM reported
    ) ON COLUMNS(* EXCLUDE (well_id, stage)) INTO NAME measure VALUE reported
)
SELECT
    s.well_id,
    s.stage,
    o.measure,
    s.well,
    s.pad,
    s.formation,
    s.frac_crew,
    s.design,
    s.quarter,
    o.ours,
    t.reported,
    o.ours - t.reported AS difference,
    (o.ours - t.reported) / nullif(t.reported, 0) AS share,
    coalesce(p.state, p.confidence) AS confidence
FROM ours AS o
JOIN theirs AS t USING (well_id, stage, measure)
JOIN stage AS s USING (well_id, stage)
LEFT JOIN pick AS p
    ON p.well_id = o.well_id AND p.level = 'stage' AND p.number = o.stage
    AND (o.measure = p.pick OR o.measure = concat(p.pick, '_psi'))
