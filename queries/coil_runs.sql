-- title: Every coil run: hours, wiper trips, velocities
-- reader: analyst
-- grain: a coil run
-- columns:
--   pad: pad
--   well: well
--   run: coil run
--   kind: mill-out or toe preparation
--   crew: coil crew
--   hours [h]: hours with the mill in the hole
--   milling_hours [h]: hours of milling plugs
--   wiper_hours [h]: hours of wiper trips
--   running_hours [h]: hours of moving
--   stationary_hours [h]: hours stationary
--   plugs_milled: plugs milled
--   wiper_trips: pulls back to the heel that came back
--   wiper_annular_velocity_ft_min [ft/min]: annular velocity on wiper trips
--   milling_annular_velocity_ft_min [ft/min]: annular velocity while milling
SELECT
    w.pad,
    coalesce(w.well_name, m.well_id) AS well,
    m.run,
    r.kind,
    r.coil_crew AS crew,
    m.hours,
    m.milling_hours,
    m.wiper_hours,
    m.running_hours,
    m.stationary_hours,
    m.plugs_milled,
    m.wiper_trips,
    m.wiper_annular_velocity_ft_min,
    m.milling_annular_velocity_ft_min
FROM coil_run_metrics AS m
LEFT JOIN wells AS w USING (well_id)
LEFT JOIN coil_runs AS r USING (well_id, run)
ORDER BY w.pad, well, m.run
