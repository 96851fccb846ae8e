-- title: Every measured stage, with its source file
-- reader: analyst
-- grain: a stage
-- follows: stage
-- columns:
--   crew: fracturing crew
--   files: source files of the stage
WITH files AS (
    SELECT well_id, number AS stage, string_agg(path, ' | ' ORDER BY time_from) AS files
    FROM sources
    WHERE state = 'landed' AND lands = 'treatment'
    GROUP BY ALL
)
SELECT
    s.pad, s.well, s.stage, s.well_id, s.quarter, s.design, s.frac_crew AS crew, s.at_rate_pressure_psi,
    s.at_rate_rate_bpm, s.max_treating_pressure_psi, s.breakdown_pressure_psi, s.breakdown_confidence, s.isip_psi,
    s.isip_error_psi, s.isip_confidence, s.clean_bbl, s.proppant_lbm, s.pump_time_min, s.avg_hhp, s.screenout,
    s.missing_because, f.files
FROM stage AS s
LEFT JOIN files AS f USING (well_id, stage)
ORDER BY s.pad, s.well, s.stage
