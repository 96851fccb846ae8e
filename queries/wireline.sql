-- title: Every pump-down run
-- reader: analyst
-- grain: a pump-down run
-- columns:
--   pad: pad
--   well: well
--   run: run, by the stage it prepared
--   crew: wireline crew
--   basis: pump record or run record
--   run_hours [h]: lubricator made up until guns at surface
--   pump_down_min [min]: minutes of pump-down
--   peak_rate_bpm [bpm]: highest rate
--   peak_pressure_psi [psi]: highest pressure
--   line_speed_ft_min [ft/min]: mean line speed
--   bbl_per_100_ft [ratio]: barrels for each hundred feet
--   plug_set: whether the plug was set
--   preset: whether it set before its depth
--   guns_fired: guns fired
--   misfires: guns that did not fire
--   missing_because: for each metric without a value, why
SELECT
    w.pad,
    coalesce(w.well_name, m.well_id) AS well,
    m.run,
    r.wireline_crew AS crew,
    m.basis,
    m.run_hours,
    m.pump_down_min,
    m.peak_rate_bpm,
    m.peak_pressure_psi,
    m.line_speed_ft_min,
    m.bbl_per_100_ft,
    m.plug_set,
    m.preset,
    m.guns_fired,
    m.misfires,
    m.missing_because
FROM wireline_metrics AS m
LEFT JOIN wells AS w USING (well_id)
LEFT JOIN wireline AS r USING (well_id, run)
ORDER BY w.pad, well, m.run
