-- title: Pressure response to friction reducer, by fluid
-- reader: engineer
-- grain: a fluid system
-- columns:
--   stages: compared stages with a friction reducer channel
--   loading [gpt]: median loading over the main treatment
--   responses: stages whose loading changed enough at constant rate to tell a response
--   response [psi/gpt]: median change of pressure with loading, at constant rate without proppant
--   drag_reduction [ratio]: median share of pipe friction removed
SELECT
    coalesce(fluid, 'not recorded') AS fluid,
    count(friction_reducer_gpt) AS stages,
    median(friction_reducer_gpt) AS loading,
    count(pressure_per_reducer_psi_gpt) AS responses,
    median(pressure_per_reducer_psi_gpt) AS response,
    median(drag_reduction) AS drag_reduction
FROM compared_stage
GROUP BY ALL
HAVING count(friction_reducer_gpt) > 0
ORDER BY fluid
