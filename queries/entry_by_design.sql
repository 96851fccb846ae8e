-- title: Limited entry by design: perforation friction and open perforations from step-downs
-- reader: engineer
-- grain: a design
-- columns:
--   stages: compared stages
--   step_downs: stages with a step-down from which perforation friction is known
--   friction [psi]: median perforation friction at rate, from step-downs
--   modelled_friction [psi]: median perforation friction at rate of all stages, all holes fired open
--   nearwell_friction [psi]: median near-wellbore friction at rate, from step-downs
--   efficiency_low [ratio]: median of the lowest share of open perforations: all eroded
--   efficiency_high [ratio]: median of the highest share: none eroded, none more than open
--   efficiency [ratio]: median where the diameter was measured after the treatment
--   holes_per_cluster: designed holes per cluster
SELECT
    coalesce(design, 'not recorded') AS design,
    count(*) AS stages,
    count(step_down_perf_friction_psi) AS step_downs,
    median(step_down_perf_friction_psi) AS friction,
    median(modelled_perf_friction_psi) AS modelled_friction,
    median(modelled_nearwell_friction_psi) AS nearwell_friction,
    median(perforation_efficiency_low) AS efficiency_low,
    median(perforation_efficiency_high) AS efficiency_high,
    median(perforation_efficiency) AS efficiency,
    median(holes_designed / nullif(clusters, 0)) AS holes_per_cluster
FROM compared_stage
GROUP BY ALL
ORDER BY design
