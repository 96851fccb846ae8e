-- title: Safety events, water and fuel per stage, quarter by quarter
-- reader: manager
-- grain: a quarter
-- columns:
--   quarter: quarter, on the pad's clock
--   stages: stages pumped
--   near_misses: near misses; none if no event is on record
--   injuries: first aid, recordable and lost time
--   severity_not_stated: events without a recorded severity
--   water_per_stage [bbl]: mean of the stages with recorded water
--   fuel_per_stage [gal]: mean of the stages with recorded fuel
--   stages_with_water: stages with water recorded
WITH counted AS (
    SELECT
        quarter,
        count(*) FILTER (severity = 'near miss') AS near_misses,
        count(*) FILTER (severity IN ('first aid', 'recordable', 'lost time')) AS injuries,
        count(*) FILTER (severity = 'not stated') AS severity_not_stated
    FROM incident
    GROUP BY quarter
),
pumped AS (
    SELECT
        quarter,
        count(*) AS stages,
        avg(water_bbl) AS water_per_stage,
        avg(fuel_gal) AS fuel_per_stage,
        count(water_bbl) AS stages_with_water
    FROM stage
    GROUP BY quarter
)
SELECT
    quarter,
    coalesce(p.stages, 0) AS stages,
    CASE WHEN any_event THEN coalesce(c.near_misses, 0) END AS near_misses,
    CASE WHEN any_event THEN coalesce(c.injuries, 0) END AS injuries,
    CASE WHEN any_event THEN coalesce(c.severity_not_stated, 0) END AS severity_not_stated,
    p.water_per_stage,
    p.fuel_per_stage,
    coalesce(p.stages_with_water, 0) AS stages_with_water
FROM pumped AS p
FULL JOIN counted AS c USING (quarter)
CROSS JOIN (SELECT count(*) > 0 AS any_event FROM incident)
ORDER BY quarter
