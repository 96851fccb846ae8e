-- title: Result of the chart of escalation
-- reader: engineer
-- grain: one row
-- chart: isip_escalation
-- columns:
--   title: the result in a sentence
WITH late AS (SELECT well, avg(above_first) AS rise FROM chart WHERE stage > 5 GROUP BY well)
SELECT
    CASE
        WHEN count(rise) = 0 THEN 'No well with ISIPs beyond stage 5 yet'
        ELSE format(
            'Beyond stage 5 the frac gradient is above that of the first two stages by {} on average; it rose in {} of {} wells',
            said(avg(rise), 'psi/ft'), count(*) FILTER (rise > 0), count(rise)
        )
    END AS title
FROM late
