-- title: Reach and acceptance of every well: depth, lock-up, trips, plugs left, toe
-- reader: engineer
-- grain: a well with a mill-out
-- follows: well
-- columns:
--   runs: mill-out runs
--   trips: runs made because the previous run was pulled early
--   trip_reasons: reasons for the trips
--   deepest_ft [ft]: deepest point reached
--   short_of_target_ft [ft]: planned depth minus deepest point, last run
--   locked_up: whether the coil locked up (could go no further) in one of the runs
--   plugs_left: plugs not reached by any run
--   sweeps: viscous sweeps
--   debris_lbm [lbm]: debris recovered, if recorded
WITH by_well AS (
    SELECT
        well_id,
        count(*) AS runs,
        count(trip_reason) AS trips,
        string_agg(trip_reason, ', ' ORDER BY run) AS trip_reasons,
        max(deepest_ft) AS deepest_ft,
        last(short_of_target_ft ORDER BY run) AS short_of_target_ft,
        bool_or(locked_up) AS locked_up,
        last(plugs_left ORDER BY run) AS plugs_left,
        sum(sweeps)::INTEGER AS sweeps,
        sum(debris_lbm) AS debris_lbm
    FROM coil_run
    WHERE mill_out
    GROUP BY well_id
)
SELECT w.pad, w.well, b.* EXCLUDE (well_id), t.casing_test_held, t.injectivity_bpm
FROM by_well AS b
JOIN well AS w USING (well_id)
LEFT JOIN toe AS t USING (well_id)
ORDER BY w.pad, w.well
