-- title: Safety events, water and fuel per stage, quarter by quarter
-- reader: manager
-- grain: a quarter
-- columns:
--   quarter: quarter, on the pad's clock
--   stages: stages pumped
--   near_misses: near misses
--   injuries: first aid, recordable and lost time
--   water_per_stage [bbl]: mean of the stages where it is recorded
--   fuel_per_stage [gal]: mean of the stages where it is recorded
--   stages_with_water: stages with water recorded
WITH clock AS (
    SELECT pad, any_value(time_zone) AS zone FROM wells WHERE time_zone IS NOT NULL GROUP BY pad
),
events AS (
    SELECT timezone(coalesce(c.zone, 'UTC'), i.occurred_at) AS moment, i.severity
    FROM incidents AS i
    LEFT JOIN clock AS c USING (pad)
),
counted AS (
    SELECT
        concat(year(moment), 'Q', quarter(moment)) AS quarter,
        count(*) FILTER (severity = 'near miss') AS near_misses,
        count(*) FILTER (severity <> 'near miss') AS injuries
    FROM events
    GROUP BY ALL
),
pumped AS (
    SELECT
        m.quarter,
        count(*) AS stages,
        avg(r.water_bbl) AS water_per_stage,
        avg(r.fuel_gal) AS fuel_per_stage,
        count(r.water_bbl) AS stages_with_water
    FROM stage_metrics AS m
    LEFT JOIN reported AS r USING (well_id, stage)
    GROUP BY m.quarter
)
SELECT
    quarter,
    coalesce(p.stages, 0) AS stages,
    coalesce(c.near_misses, 0) AS near_misses,
    coalesce(c.injuries, 0) AS injuries,
    p.water_per_stage,
    p.fuel_per_stage,
    coalesce(p.stages_with_water, 0) AS stages_with_water
FROM pumped AS p
FULL JOIN counted AS c USING (quarter)
ORDER BY quarter
