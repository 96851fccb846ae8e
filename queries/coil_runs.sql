-- title: Every coil run: hours by state, wiper trips, velocities, reach
-- reader: analyst
-- grain: a coil run
-- columns:
--   crew: coil crew
SELECT
    pad, well, well_id, run, kind, coil_crew AS crew, start_time, hours, running_in_hours, milling_hours, stalled_hours,
    wiper_hours, short_trip_hours, jetting_hours, stationary_hours, pulling_out_hours, plugs_milled, wiper_trips,
    returns_ratio, overpulls, trip_reason, deepest_ft, short_of_target_ft, locked_up, missing_because
FROM coil_run
ORDER BY pad, well, run
