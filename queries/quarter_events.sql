-- title: Safety events quarter by quarter
-- reader: manager
-- grain: a quarter, a pad and a severity
-- columns:
--   events: events
SELECT quarter, pad, severity, count(*) AS events
FROM incident
GROUP BY ALL
ORDER BY quarter, severity, pad
