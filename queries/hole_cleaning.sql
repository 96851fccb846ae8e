-- title: How well each mill-out carried its debris, and what faster wiper trips would have saved
-- reader: engineer
-- grain: a mill-out run with wiper trips
-- columns:
--   well: well
--   pad: pad
--   quarter: quarter in which the run began
--   run: coil run
--   crew: coil crew
--   velocity [ft/min]: annular velocity in the lateral on wiper trips
--   slowest_velocity [ft/min]: the same in the widest casing
--   transport_low [ratio]: share of the slowest at which a fast chip (smooth ball) rises in the vertical
--   transport_high [ratio]: the same of a slow one
--   lateral_margin_low [ratio]: lateral velocity over the 4 ft/s that lateral debris may need
--   lateral_margin_high [ratio]: lateral velocity over the 3 ft/s that it needs at least
--   plugs_per_wiper [ratio]: plugs milled for each wiper trip
--   bottoms_up [ratio]: annular volumes pumped on a wiper trip
--   wiper_hours [h]: hours of wiper trips
--   wiper_share [ratio]: share of the run's hours
--   best_rate [bpm]: highest wiper circulation of any run with this coil in the lake
--   rate [bpm]: wiper circulation of this run
--   saved_hours [h]: estimate: the same volumes at the best rate, pulling speed rising with it
WITH runs AS (
    SELECT
        m.*,
        r.coil_crew,
        max(m.wiper_rate_bpm) OVER (PARTITION BY r.coil_diameter_in) AS best_rate
    FROM coil_run_metrics AS m
    LEFT JOIN coil_runs AS r USING (well_id, run)
)
SELECT
    coalesce(w.well_name, m.well_id) AS well,
    w.pad,
    m.run_quarter AS quarter,
    m.run,
    coalesce(m.coil_crew, 'not recorded') AS crew,
    m.wiper_lateral_velocity_ft_min AS velocity,
    m.wiper_annular_velocity_ft_min AS slowest_velocity,
    m.wiper_transport_ratio_low AS transport_low,
    m.wiper_transport_ratio_high AS transport_high,
    m.lateral_margin_low,
    m.lateral_margin_high,
    m.plugs_per_wiper,
    m.bottoms_up_per_wiper AS bottoms_up,
    m.wiper_hours,
    m.wiper_hours / m.hours AS wiper_share,
    m.best_rate,
    m.wiper_rate_bpm AS rate,
    m.wiper_hours * (1 - m.wiper_rate_bpm / m.best_rate) AS saved_hours
FROM runs AS m
LEFT JOIN wells AS w USING (well_id)
WHERE m.wiper_trips > 0 AND m.wiper_rate_bpm IS NOT NULL
ORDER BY well, m.run
