-- title: Sums and counts of a measure by job, for the trend of the jobs that a reader picks out
-- reader: manager
-- grain: a quarter, pad, crew, formation and design
-- parameters:
--   metric: mill_min or pump_time_min
-- columns:
--   quarter: quarter, on the pad's clock
--   pad: pad
--   crew: coil crew for mill_min, fracturing crew for pump_time_min
--   formation: formation
--   design: design
--   total [min]: sum
--   n: stages or plugs
WITH measured AS (
    SELECT p.well_id, 'mill_min' AS metric, p.quarter, r.coil_crew AS crew, s.design, p.mill_min AS minutes
    FROM plug_metrics AS p
    LEFT JOIN coil_runs AS r ON r.well_id = p.well_id AND r.run = p.run
    LEFT JOIN stages AS s ON s.well_id = p.well_id AND s.stage = p.plug
    UNION ALL
    SELECT m.well_id, 'pump_time_min', m.quarter, s.frac_crew, s.design, m.pump_time_min
    FROM stage_metrics AS m
    LEFT JOIN stages AS s USING (well_id, stage)
)
SELECT
    m.quarter,
    coalesce(w.pad, 'not recorded') AS pad,
    coalesce(m.crew, 'not recorded') AS crew,
    coalesce(w.formation, 'not recorded') AS formation,
    coalesce(m.design, 'not recorded') AS design,
    sum(m.minutes) AS total,
    count(*) AS n
FROM measured AS m
LEFT JOIN wells AS w USING (well_id)
WHERE m.metric = $metric AND m.minutes IS NOT NULL
GROUP BY ALL
ORDER BY ALL
