-- title: Pace of the fleets on the pads pumped last
-- reader: manager
-- grain: a fleet on one of the twenty pads pumped last
-- columns:
--   mode: operation mode
WITH latest AS (
    SELECT site
    FROM pad_fleet
    GROUP BY site
    ORDER BY max(first_rate) DESC NULLS LAST, site
    LIMIT 20
)
SELECT
    quarter, site AS pad, fleet, coalesce(operation_mode, 'not recorded') AS mode, wells, stages, span_hours,
    standby_hours, npt_hours, fleet_hours, pumping_hours, hours_per_stage, stages_per_day, npt_share
FROM pad_fleet
JOIN latest USING (site)
ORDER BY first_rate, site, fleet
