-- title: Every stage's pump time, by crew and design
-- reader: analyst
-- grain: a stage
-- columns:
--   crew: fracturing crew
--   design: design
--   pad: pad
--   formation: formation
--   well: well
--   stage: stage, counted from the toe
--   quarter: quarter in which the stage began
--   pump_time [min]: pump time
SELECT
    s.frac_crew AS crew,
    s.design,
    w.pad,
    w.formation,
    w.well_name AS well,
    m.stage,
    m.quarter,
    m.pump_time_min AS pump_time
FROM stage_metrics AS m
JOIN stages AS s USING (well_id, stage)
JOIN wells AS w USING (well_id)
WHERE m.pump_time_min IS NOT NULL AND s.frac_crew IS NOT NULL
ORDER BY crew, design, well, m.stage
