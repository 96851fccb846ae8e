-- title: ISIP picked here against ISIP reported
-- reader: analyst
-- grain: a stage that both have
-- columns:
--   reported [psi]: by the provider
--   ours [psi]: measured here, amendments included
--   confidence: of our pick
--   well: well
--   stage: stage, counted from the toe
SELECT
    r.isip_psi AS reported,
    m.isip_psi AS ours,
    m.isip_confidence AS confidence,
    coalesce(w.well_name, m.well_id) AS well,
    m.stage
FROM stage_metrics AS m
JOIN reported AS r USING (well_id, stage)
LEFT JOIN wells AS w USING (well_id)
WHERE r.isip_psi IS NOT NULL AND m.isip_psi IS NOT NULL
ORDER BY well, m.stage
