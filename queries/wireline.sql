-- title: Every pump-down run
-- reader: analyst
-- grain: a pump-down run
-- columns:
--   crew: wireline crew
SELECT
    pad, well, well_id, run, wireline_crew AS crew, basis, run_hours, pump_down_min, peak_rate_bpm, peak_pressure_psi,
    line_speed_ft_min, bbl_per_100_ft, plug_set, preset, guns_fired, misfires, missing_because
FROM pump_down
ORDER BY pad, well, run
