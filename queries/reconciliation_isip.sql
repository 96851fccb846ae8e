-- title: ISIP picked here against ISIP reported
-- reader: analyst
-- grain: a stage with a picked and a reported ISIP
-- columns:
--   reported [psi]: ISIP reported by the provider
--   ours [psi]: ISIP picked here, amendments included
--   crew: fracturing crew
SELECT reported, ours, confidence, pad, frac_crew AS crew, formation, design, quarter, well, stage
FROM reconciled
WHERE measure = 'isip_psi'
ORDER BY well, stage
