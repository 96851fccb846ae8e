-- title: Every coil run: hours by state, wiper trips, velocities, reach
-- reader: analyst
-- grain: a coil run
-- columns:
--   pad: pad
--   well: well
--   well_id: our name of the well, as in the folder of its audit pages
--   run: coil run
--   kind: mill-out, toe preparation, toe milling or toe perforating
--   crew: coil crew
--   start_time: first sample in the hole, UTC
--   hours [h]: hours with the mill in the hole
--   running_in_hours [h]: hours of running in
--   milling_hours [h]: hours of milling, stalls taken out
--   stalled_hours [h]: hours from a stall until back at the bottom
--   wiper_hours [h]: hours of wiper trips
--   jetting_hours [h]: hours of cutting stations
--   stationary_hours [h]: hours of standing still otherwise
--   pulling_out_hours [h]: hours of pulling, wiper trips apart
--   plugs_milled: plugs milled
--   wiper_trips: pulls back to the heel that came back
--   returns_ratio [ratio]: volume returned over volume pumped
--   overpulls: pulls more than 8,000 lbf above the pull nearby
--   trip_reason: why the run before was pulled
--   deepest_ft [ft]: deepest point reached
--   short_of_target_ft [ft]: planned depth less deepest point
--   locked_up: whether the coil would go no further
--   missing_because: for each metric without a value, why
SELECT
    w.pad,
    coalesce(w.well_name, m.well_id) AS well,
    m.well_id,
    m.run,
    r.kind,
    r.coil_crew AS crew,
    m.start_time,
    m.hours,
    m.running_in_hours,
    m.milling_hours,
    m.stalled_hours,
    m.wiper_hours,
    m.jetting_hours,
    m.stationary_hours,
    m.pulling_out_hours,
    m.plugs_milled,
    m.wiper_trips,
    m.returns_ratio,
    m.overpulls,
    r.trip_reason,
    m.deepest_ft,
    m.short_of_target_ft,
    m.locked_up,
    m.missing_because
FROM coil_run_metrics AS m
LEFT JOIN wells AS w USING (well_id)
LEFT JOIN coil_runs AS r USING (well_id, run)
ORDER BY w.pad, well, m.run
