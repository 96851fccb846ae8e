-- title: Reach and acceptance of every well: depth, lock-up, trips, plugs left, toe
-- reader: engineer
-- grain: a well with a mill-out
-- columns:
--   pad: pad
--   well: well
--   runs: mill-out runs
--   trips: runs made because the one before was pulled
--   trip_reasons: why
--   deepest_ft [ft]: deepest point reached
--   short_of_target_ft [ft]: planned depth less deepest point
--   locked_up: whether the coil would go no further
--   plugs_left: plugs met by no run
--   sweeps: viscous sweeps
--   debris_lbm [lbm]: debris recovered where recorded
--   casing_test_held: whether the toe's casing test held
--   injectivity_bpm [bpm]: rate of the toe's injectivity test
WITH runs AS (
    SELECT m.*, r.trip_reason, r.sweeps, r.debris_lbm, r.kind
    FROM coil_run_metrics AS m
    LEFT JOIN coil_runs AS r USING (well_id, run)
    WHERE coalesce(r.kind, 'mill-out') = 'mill-out'
),
by_well AS (
    SELECT
        well_id,
        count(*) AS runs,
        count(trip_reason) AS trips,
        string_agg(trip_reason, ', ') AS trip_reasons,
        max(deepest_ft) AS deepest_ft,
        last(short_of_target_ft ORDER BY run) AS short_of_target_ft,
        bool_or(locked_up) AS locked_up,
        last(plugs_left ORDER BY run) AS plugs_left,
        sum(sweeps)::INTEGER AS sweeps,
        sum(debris_lbm) AS debris_lbm
    FROM runs
    GROUP BY well_id
)
SELECT
    w.pad,
    coalesce(w.well_name, b.well_id) AS well,
    b.* EXCLUDE (well_id),
    t.casing_test_held,
    t.injectivity_bpm
FROM by_well AS b
LEFT JOIN wells AS w USING (well_id)
LEFT JOIN toe_prep_metrics AS t USING (well_id)
ORDER BY w.pad, well
