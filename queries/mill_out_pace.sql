-- title: Pace of mill-outs: plugs per day, feet per hour, debris and sweeps per plug
-- reader: analyst
-- grain: a mill-out run
-- follows: coil_run
-- columns:
--   crew: coil crew
--   run: coil run, in chronological order
--   plugs: plugs drilled out
--   plugs_per_day: plugs per 24 hours in the hole
--   rig_hours [h]: from begin of rigging up to end of rigging down
--   plugs_per_rig_day: plugs per 24 of these hours
--   speed_ft_h [ft/h]: deepest point divided by the hours of running in
--   debris_share [ratio]: debris recovered divided by the mass of the plugs drilled out
--   sweeps_per_plug: viscous sweeps per plug
WITH drilled AS (
    SELECT well_id, run, CASE WHEN count(mass_lbm) = count(*) THEN sum(mass_lbm) END AS mass
    FROM plug
    WHERE mill_min IS NOT NULL
    GROUP BY ALL
)
SELECT
    r.pad,
    r.well,
    r.run,
    coalesce(r.coil_crew, 'not recorded') AS crew,
    r.quarter,
    r.plugs_milled AS plugs,
    r.hours,
    24 * r.plugs_milled / nullif(r.hours, 0) AS plugs_per_day,
    minutes_between(r.rig_up_time, r.rig_down_time) / 60 AS rig_hours,
    24 * 60 * r.plugs_milled / nullif(minutes_between(r.rig_up_time, r.rig_down_time), 0) AS plugs_per_rig_day,
    r.deepest_ft / nullif(r.running_in_hours, 0) AS speed_ft_h,
    r.debris_lbm / nullif(d.mass, 0) AS debris_share,
    r.sweeps / nullif(r.plugs_milled, 0) AS sweeps_per_plug
FROM coil_run AS r
LEFT JOIN drilled AS d ON d.well_id = r.well_id AND d.run = r.run
WHERE r.mill_out
ORDER BY r.pad, r.well, r.run
