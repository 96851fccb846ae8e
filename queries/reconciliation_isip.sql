-- title: ISIP picked here against ISIP reported
-- reader: analyst
-- grain: a stage that both have
-- columns:
--   reported [psi]: by the provider
--   ours [psi]: measured here, amendments included
--   confidence: of our pick
--   pad: pad
--   crew: fracturing crew
--   formation: formation
--   design: design
--   quarter: quarter in which the stage began
--   well: well
--   stage: stage, counted from the toe
SELECT
    r.isip_psi AS reported,
    m.isip_psi AS ours,
    m.isip_confidence AS confidence,
    w.pad,
    s.frac_crew AS crew,
    w.formation,
    s.design,
    m.quarter,
    coalesce(w.well_name, m.well_id) AS well,
    m.stage
FROM stage_metrics AS m
JOIN reported AS r USING (well_id, stage)
LEFT JOIN wells AS w USING (well_id)
LEFT JOIN stages AS s USING (well_id, stage)
WHERE r.isip_psi IS NOT NULL AND m.isip_psi IS NOT NULL
ORDER BY well, m.stage
