-- title: Stages in the order in which their fleet pumped them on the pad
-- grain: a measured stage
-- key: well_id, stage
-- follows: stage_metrics, stages, well_site
-- columns:
--   fleet: fracturing fleet; where none is recorded, the only one recorded on the pad, else one per pad
--   site: pad; the well if it has no pad
--   fleet_before: latest last rate of the fleet's earlier stages on the pad, any well
WITH placed AS (
    SELECT
        m.well_id,
        m.stage,
        coalesce(w.pad, m.well_id) AS site,
        s.frac_fleet,
        s.operation_mode,
        m.start_time,
        m.end_time
    FROM stage_metrics AS m
    JOIN well_site AS w USING (well_id)
    LEFT JOIN stages AS s USING (well_id, stage)
),
named AS (
    SELECT
        * EXCLUDE (frac_fleet),
        coalesce(
            frac_fleet,
            CASE
                WHEN min(frac_fleet) OVER (PARTITION BY site) = max(frac_fleet) OVER (PARTITION BY site)
                    THEN min(frac_fleet) OVER (PARTITION BY site)
            END,
            'fleet on ' || site
        ) AS fleet
    FROM placed
)
SELECT
    *,
    -- the latest end of all stages before: one of them may last longer than those that began after it
    max(end_time) OVER (
        PARTITION BY site, fleet ORDER BY start_time, well_id, stage ROWS BETWEEN UNBOUNDED PRECEDING AND 1 PRECEDING
    ) AS fleet_before
FROM named
