-- title: Debris transport of each mill-out, and hours saved by faster wiper trips
-- reader: engineer
-- grain: a mill-out run with wiper trips
-- columns:
--   crew: coil crew
--   velocity [ft/min]: annular velocity in the lateral on wiper trips
--   planned_velocity [ft/min]: annular velocity that the team plans wiper trips with
--   slowest_velocity [ft/min]: annular velocity in the widest casing on wiper trips
--   transport_low [ratio]: transport ratio in the vertical at the slowest velocity, for a fast chip (smooth ball)
--   transport_high [ratio]: transport ratio for a slow chip
--   bottoms_up [ratio]: annular volumes pumped on a wiper trip
--   wiper_share [ratio]: share of the run's hours
--   best_rate [bpm]: highest wiper circulation rate of any run with this coil in the lake
--   rate [bpm]: wiper circulation rate of this run
--   saved_hours [h]: estimate: the same volumes at the best rate, with a correspondingly higher pulling speed
WITH runs AS (
    SELECT *, max(wiper_rate_bpm) OVER (PARTITION BY coil_diameter_in) AS best_rate FROM coil_run
)
SELECT
    well,
    pad,
    quarter,
    run,
    coalesce(coil_crew, 'not recorded') AS crew,
    wiper_lateral_velocity_ft_min AS velocity,
    wiper_annular_velocity_ft_min AS slowest_velocity,
    wiper_transport_ratio_low AS transport_low,
    wiper_transport_ratio_high AS transport_high,
    planned_velocity_ft_min AS planned_velocity,
    lateral_margin,
    plugs_per_wiper,
    bottoms_up_per_wiper AS bottoms_up,
    hours,
    wiper_hours,
    wiper_hours / hours AS wiper_share,
    best_rate,
    wiper_rate_bpm AS rate,
    wiper_hours * (1 - wiper_rate_bpm / best_rate) AS saved_hours
FROM runs
WHERE wiper_trips > 0 AND wiper_rate_bpm IS NOT NULL
ORDER BY well, run
