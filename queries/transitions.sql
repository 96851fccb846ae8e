-- title: Minutes from one stage to the next, on the same well and for the same crew
-- reader: analyst
-- grain: a stage with a previous stage
-- columns:
--   crew: fracturing crew
--   mode: operation mode
SELECT
    pad, well, stage, frac_crew AS crew, coalesce(operation_mode, 'not recorded') AS mode, quarter, well_gap_min,
    transition_min
FROM stage
WHERE well_gap_min IS NOT NULL OR transition_min IS NOT NULL
ORDER BY pad, start_time
