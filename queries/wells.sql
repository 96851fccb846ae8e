-- title: Every well, with its records
-- reader: analyst
-- grain: a well
-- follows: well
-- columns:
--   stages: measured stages
--   plugs: plugs on record
--   coil_runs: coil runs on record
--   findings: findings from landing and measuring the well
WITH odd AS (SELECT well_id, count(*) AS findings FROM findings WHERE well_id IS NOT NULL GROUP BY well_id)
SELECT
    w.pad,
    w.well,
    w.well_id,
    w.formation,
    w.quarter,
    w.stages_measured AS stages,
    w.plugs_measured AS plugs,
    w.runs_measured AS coil_runs,
    w.screen_outs,
    coalesce(o.findings, 0) AS findings
FROM well AS w
LEFT JOIN odd AS o USING (well_id)
ORDER BY w.pad, w.well
