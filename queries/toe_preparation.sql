-- title: Toe preparations in one run and in two
-- reader: engineer
-- grain: a well whose toe preparation is on record
-- columns:
--   stations: stations cut
--   nozzle_drop [psi]: modelled pressure drop through the nozzles
--   reached_rate: whether stage 1 reached 90 % of its design rate
SELECT
    well, pad, formation, runs, method, hours, elapsed_hours, cement_ft, stations_cut AS stations, station_min,
    modelled_nozzle_drop_psi AS nozzle_drop, flush_bbl, cost, cost_state, casing_test_psi, injectivity_bpm,
    injectivity_psi, stage_1_reached_rate AS reached_rate
FROM toe
ORDER BY method, well
