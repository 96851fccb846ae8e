-- title: Recordable incidents and spills against hours worked, quarter by quarter
-- reader: manager
-- grain: a quarter with hours worked on record
-- columns:
--   quarter: quarter, on the pad's clock
--   pads: pads with hours on record
--   hours [h]: hours worked by all people on these pads
--   recordables: recordable and lost-time incidents on these pads
--   trir: recordables times 200,000 divided by hours (OSHA incidence rate); few hours make it jump
--   spills: events with a spilled volume
--   spilled [bbl]: volume spilled
--   spills_per_200k_hours: spills times 200,000 divided by hours
WITH worked AS (SELECT quarter, pad, sum(hours) AS hours FROM exposure GROUP BY ALL HAVING sum(hours) > 0),
counted AS (
    SELECT
        quarter,
        pad,
        count(*) FILTER (severity IN ('recordable', 'lost time')) AS recordables,
        count(*) FILTER (spill_bbl > 0) AS spills,
        sum(spill_bbl) AS spilled
    FROM incident
    GROUP BY ALL
)
SELECT
    w.quarter,
    count(*) AS pads,
    sum(w.hours) AS hours,
    coalesce(sum(c.recordables), 0)::INTEGER AS recordables,
    200000 * coalesce(sum(c.recordables), 0) / sum(w.hours) AS trir,
    coalesce(sum(c.spills), 0)::INTEGER AS spills,
    coalesce(sum(c.spilled), 0) AS spilled,
    200000 * coalesce(sum(c.spills), 0) / sum(w.hours) AS spills_per_200k_hours
FROM worked AS w
LEFT JOIN counted AS c USING (quarter, pad)
GROUP BY w.quarter
ORDER BY w.quarter
