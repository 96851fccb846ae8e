-- title: Every well, with its records
-- reader: analyst
-- grain: a well
-- columns:
--   pad: pad
--   well: well
--   well_id: our name of the well, as in the folder of its audit pages
--   formation: formation
--   quarter: quarter in which its first stage began
--   stages: measured stages
--   plugs: plugs on record
--   coil_runs: coil runs on record
--   screenouts: stages that screened out
--   findings: findings of its landing and measuring
WITH staged AS (
    SELECT well_id, count(*) AS stages, min(quarter) AS quarter, count(*) FILTER (screenout) AS screenouts
    FROM stage_metrics
    GROUP BY well_id
),
plugged AS (SELECT well_id, count(*) AS plugs FROM plug_metrics GROUP BY well_id),
run AS (SELECT well_id, count(*) AS coil_runs FROM coil_run_metrics GROUP BY well_id),
odd AS (SELECT well_id, count(*) AS findings FROM findings WHERE well_id IS NOT NULL GROUP BY well_id)
SELECT
    w.pad,
    coalesce(w.well_name, w.well_id) AS well,
    w.well_id,
    w.formation,
    s.quarter,
    coalesce(s.stages, 0) AS stages,
    coalesce(p.plugs, 0) AS plugs,
    coalesce(r.coil_runs, 0) AS coil_runs,
    coalesce(s.screenouts, 0) AS screenouts,
    coalesce(o.findings, 0) AS findings
FROM wells AS w
LEFT JOIN staged AS s USING (well_id)
LEFT JOIN plugged AS p USING (well_id)
LEFT JOIN run AS r USING (well_id)
LEFT JOIN odd AS o USING (well_id)
ORDER BY w.pad, well
