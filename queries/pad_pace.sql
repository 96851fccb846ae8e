-- title: Pace of every fleet on every pad: stages, pumping hours and lateral per 24 hours
-- reader: manager
-- grain: a fleet on a pad
-- columns:
--   mode: operation mode
SELECT
    quarter, site AS pad, fleet, coalesce(operation_mode, 'not recorded') AS mode, wells, stages, lateral_ft,
    span_hours, standby_hours, npt_hours, fleet_hours, pumping_hours, hours_per_stage, stages_per_day,
    pumping_hours_per_day, lateral_ft_per_day, npt_share
FROM pad_fleet
ORDER BY first_rate, site, fleet
