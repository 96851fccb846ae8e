-- title: The stages of the wells completed last, side by side
-- reader: engineer
-- grain: a stage of one of the twenty wells with the latest records
-- columns:
--   pressure [psi]: mean treating pressure at 90 % of the design rate or more; over the main treatment if no design rate is known
--   rate [bpm]: mean slurry rate over the same time
--   compared: whether the stage takes part in comparisons: an injection test does not
--   at_rate: whether the pressure is that at 90 % of the design rate or more
--   isip [psi]: ISIP
--   breakdown [psi]: breakdown pressure
--   pump_time [min]: pump time
--   placed_share [ratio]: proppant placed over designed proppant
--   mill_time [min]: mill time of the plug set for the stage
--   ended: how the stage ended
--   crew: fracturing crew
--   quarter: quarter of the stage, on the pad's clock
WITH latest AS (
    SELECT well_id, max(start_time) AS last_start
    FROM stage
    WHERE start_time IS NOT NULL
    GROUP BY well_id
    ORDER BY last_start DESC, well_id
    LIMIT 20
)
SELECT
    s.well,
    s.well_id,
    s.stage,
    coalesce(s.at_rate_pressure_psi, s.avg_treating_pressure_psi) AS pressure,
    coalesce(s.at_rate_rate_bpm, s.avg_slurry_rate_bpm) AS rate,
    s.left_out_because IS NULL AS compared,
    s.at_rate_pressure_psi IS NOT NULL AS at_rate,
    s.isip_psi AS isip,
    s.breakdown_pressure_psi AS breakdown,
    s.placed_share,
    s.pump_time_min AS pump_time,
    p.mill_min AS mill_time,
    s.stage_end AS ended,
    s.isip_confidence,
    s.breakdown_confidence,
    p.mill_confidence,
    s.pad,
    s.design,
    s.frac_crew AS crew,
    s.formation,
    s.quarter
FROM stage AS s
JOIN latest AS l USING (well_id)
LEFT JOIN plug AS p ON p.well_id = s.well_id AND p.plug = s.stage
ORDER BY l.last_start DESC, s.well, s.stage
