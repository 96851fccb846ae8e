-- title: Stages whose clean volume exceeds their slurry volume
-- reader: analyst
-- grain: a failing stage; expected: none
-- columns:
--   well_id: well
--   stage: stage
--   clean_bbl [bbl]: clean fluid
--   slurry_bbl [bbl]: slurry
SELECT well_id, stage, clean_bbl, slurry_bbl
FROM stage_metrics
WHERE clean_bbl > 1.005 * slurry_bbl
