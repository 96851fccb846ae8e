-- title: Safety events quarter by quarter
-- reader: manager
-- grain: a quarter, a pad and a severity
-- columns:
--   quarter: quarter, on the pad's clock
--   pad: pad
--   severity: near miss, first aid, recordable or lost time
--   events: events
WITH clock AS (
    SELECT pad, any_value(time_zone) AS zone FROM wells WHERE time_zone IS NOT NULL GROUP BY pad
),
placed AS (
    SELECT timezone(coalesce(c.zone, 'UTC'), i.occurred_at) AS moment, i.pad, coalesce(i.severity, 'not stated') AS severity
    FROM incidents AS i
    LEFT JOIN clock AS c USING (pad)
)
SELECT concat(year(moment), 'Q', quarter(moment)) AS quarter, pad, severity, count(*) AS events
FROM placed
GROUP BY ALL
ORDER BY quarter, severity, pad
