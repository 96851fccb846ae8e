-- title: Pump time of every complete stage, by crew and design
-- reader: analyst
-- grain: a stage
-- columns:
--   crew: fracturing crew
--   pump_time [min]: pump time
SELECT frac_crew AS crew, design, pad, formation, well, stage, quarter, completed_pump_time_min AS pump_time
FROM compared_stage
WHERE completed_pump_time_min IS NOT NULL AND frac_crew IS NOT NULL
ORDER BY crew, design, well, stage
