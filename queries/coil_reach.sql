-- title: Weight of the coil: drag, friction, running speed and margin to lock-up of each mill-out
-- reader: engineer
-- grain: a mill-out run
-- columns:
--   crew: coil crew
--   quarter: quarter in which the record begins, on the pad's clock
--   lateral [ft]: deepest point below the heel
--   running_speed [ft/min]: median speed of running in below the heel
--   drag [lbf]: half of pulling less running weight at the deepest lateral on which the coil moved both ways
--   friction [ratio]: apparent friction of coil on casing
--   margin [ratio]: modelled load of a helix over the compression at the heel; below 1 lock-up is near
SELECT
    r.pad,
    r.well,
    r.well_id,
    r.run,
    r.quarter,
    coalesce(r.coil_crew, 'not recorded') AS crew,
    r.deepest_ft - w.heel_md_ft AS lateral,
    r.lateral_running_speed_ft_min AS running_speed,
    r.coil_drag_lbf AS drag,
    r.coil_friction AS friction,
    r.modelled_lock_up_margin AS margin,
    r.locked_up
FROM coil_run AS r
JOIN well AS w USING (well_id)
WHERE r.mill_out AND r.deepest_ft > w.heel_md_ft AND (r.coil_drag_lbf IS NOT NULL OR r.locked_up IS NOT NULL)
ORDER BY r.pad, r.well, r.run
