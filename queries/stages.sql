-- title: Every measured stage, with the file it came from
-- reader: analyst
-- grain: a stage
-- columns:
--   pad: pad
--   well: well
--   stage: stage, counted from the toe
--   well_id: our name of the well, as in the folder of its audit pages
--   quarter: quarter in which it began
--   design: design
--   crew: fracturing crew
--   at_rate_pressure_psi [psi]: mean pressure at rate
--   at_rate_rate_bpm [bpm]: mean slurry rate at rate
--   max_treating_pressure_psi [psi]: highest pressure of the main treatment
--   breakdown_pressure_psi [psi]: breakdown pressure
--   breakdown_confidence: how sure
--   isip_psi [psi]: instantaneous shut-in pressure
--   isip_error_psi [psi]: its standard error
--   isip_confidence: how sure
--   clean_bbl [bbl]: clean fluid
--   proppant_lbm [lbm]: proppant
--   pump_time_min [min]: minutes at 5 bpm or more
--   avg_hhp [hp]: mean hydraulic horsepower
--   screenout: whether it screened out
--   missing_because: for each metric without a value, why
--   files: files it was measured from
WITH files AS (
    SELECT well_id, number AS stage, string_agg(path, ' | ' ORDER BY time_from) AS files
    FROM sources
    WHERE state = 'landed' AND lands = 'treatment'
    GROUP BY ALL
)
SELECT
    w.pad,
    coalesce(w.well_name, m.well_id) AS well,
    m.stage,
    m.well_id,
    m.quarter,
    s.design,
    s.frac_crew AS crew,
    m.at_rate_pressure_psi,
    m.at_rate_rate_bpm,
    m.max_treating_pressure_psi,
    m.breakdown_pressure_psi,
    m.breakdown_confidence,
    m.isip_psi,
    m.isip_error_psi,
    m.isip_confidence,
    m.clean_bbl,
    m.proppant_lbm,
    m.pump_time_min,
    m.avg_hhp,
    m.screenout,
    m.missing_because,
    f.files
FROM stage_metrics AS m
LEFT JOIN wells AS w USING (well_id)
LEFT JOIN stages AS s USING (well_id, stage)
LEFT JOIN files AS f USING (well_id, stage)
ORDER BY w.pad, well, m.stage
