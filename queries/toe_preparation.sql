-- title: Toe preparations in one run and in two
-- reader: engineer
-- grain: a well whose toe preparation is on record
-- columns:
--   well: well
--   pad: pad
--   formation: formation
--   runs: coil runs it took
--   method: one run or two runs
--   hours [h]: hours in the hole, all runs
--   elapsed_hours [h]: from first in the hole to last out, between runs included
--   cement_ft [ft]: cement milled
--   stations: stations cut
--   station_min [min]: mean minutes a station
--   nozzle_drop [psi]: modelled pressure drop through the nozzles
--   flush_bbl [bbl]: fluid pumped clean after the last station
--   cost: invoiced or accrued cost, in its currency
--   cost_state: invoiced or accrued
--   casing_test_psi [psi]: casing test pressure
--   injectivity_bpm [bpm]: rate of the injectivity test
--   injectivity_psi [psi]: its pressure
--   reached_rate: whether stage 1 reached 90 % of its design rate
SELECT
    coalesce(w.well_name, t.well_id) AS well,
    w.pad,
    w.formation,
    t.runs,
    CASE WHEN t.one_run THEN 'one run' ELSE 'two runs' END AS method,
    t.hours,
    t.elapsed_hours,
    t.cement_ft,
    t.stations_cut AS stations,
    t.station_min,
    t.modelled_nozzle_drop_psi AS nozzle_drop,
    t.flush_bbl,
    t.cost,
    t.cost_state,
    t.casing_test_psi,
    t.injectivity_bpm,
    t.injectivity_psi,
    t.stage_1_reached_rate AS reached_rate
FROM toe_prep_metrics AS t
LEFT JOIN wells AS w USING (well_id)
ORDER BY method, well
