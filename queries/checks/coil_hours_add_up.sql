-- title: Coil runs whose hours by state do not add up to their hours in the hole
-- reader: analyst
-- grain: a failing coil run; expected: none
-- columns:
--   well_id: well
--   run: coil run
--   hours [h]: hours in the hole
--   parts [h]: sum of the states
SELECT
    well_id,
    run,
    hours,
    running_in_hours + milling_hours + stalled_hours + wiper_hours + short_trip_hours + jetting_hours + stationary_hours
    + pulling_out_hours AS parts
FROM coil_run_metrics
WHERE abs(hours - parts) > 0.01
