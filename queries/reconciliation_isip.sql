-- title: ISIP picked here against ISIP reported
-- reader: analyst
-- grain: a stage that both have
-- columns:
--   reported [psi]: by the provider
--   ours [psi]: measured here, amendments included
--   crew: fracturing crew
SELECT reported, ours, confidence, pad, frac_crew AS crew, formation, design, quarter, well, stage
FROM reconciled
WHERE measure = 'isip_psi'
ORDER BY well, stage
