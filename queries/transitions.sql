-- title: Minutes from one stage to the next, on the same well and for the same fleet
-- reader: analyst
-- grain: a stage with one before it
-- columns:
--   pad: pad
--   well: well
--   stage: stage that was waited for
--   crew: fracturing crew
--   mode: operation mode
--   quarter: quarter of its start, on the pad's clock
--   well_min [min]: last rate of the well's previous stage to its first rate
--   fleet_min [min]: last rate of the crew's previous stage on this pad, on any well; none where it overlaps
WITH stages_run AS (
    SELECT
        w.pad,
        coalesce(w.well_name, m.well_id) AS well,
        m.stage,
        s.frac_crew AS crew,
        coalesce(s.operation_mode, 'not recorded') AS mode,
        m.quarter,
        m.start_time,
        lag(m.end_time) OVER (PARTITION BY m.well_id ORDER BY m.start_time) AS well_before,
        lag(m.end_time) OVER (PARTITION BY w.pad, s.frac_crew ORDER BY m.start_time) AS fleet_before
    FROM stage_metrics AS m
    LEFT JOIN wells AS w USING (well_id)
    LEFT JOIN stages AS s USING (well_id, stage)
    WHERE m.start_time IS NOT NULL
)
SELECT
    pad,
    well,
    stage,
    crew,
    mode,
    quarter,
    CASE WHEN well_before <= start_time THEN epoch(start_time - well_before) / 60 END AS well_min,
    CASE WHEN crew IS NOT NULL AND fleet_before <= start_time THEN epoch(start_time - fleet_before) / 60 END AS fleet_min
FROM stages_run
WHERE well_before IS NOT NULL OR fleet_before IS NOT NULL
ORDER BY pad, start_time
