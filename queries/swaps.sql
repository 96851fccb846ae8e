-- title: Minutes from one stage to the next: on the well, of the fleet, and the swap that remains
-- reader: analyst
-- grain: a stage with a previous stage
-- columns:
--   crew: fracturing crew
--   mode: operation mode
SELECT
    pad, well, stage, fleet, frac_crew AS crew, coalesce(operation_mode, 'not recorded') AS mode, quarter, well_gap_min,
    fleet_gap_min, npt_in_gap_min, standby_in_gap_min, wireline_in_gap_min, swap_min
FROM stage
WHERE well_gap_min IS NOT NULL OR fleet_gap_min IS NOT NULL
ORDER BY pad, start_time
