-- title: What to look at next in the last quarter
-- reader: manager
-- grain: one row
-- columns:
--   sentence: what to look at next
WITH newest AS (SELECT max(quarter) AS quarter FROM stage),
pumped AS (SELECT DISTINCT s.pad FROM stage AS s, newest AS n WHERE s.quarter = n.quarter AND s.pad IS NOT NULL),
logged AS (SELECT DISTINCT pad FROM pad_interval WHERE basis = 'time log'),
counted AS (
    SELECT
        count(*) AS pads,
        count(*) FILTER (l.pad IS NULL) AS without,
        string_agg(p.pad, ', ' ORDER BY p.pad) FILTER (l.pad IS NULL) AS names
    FROM pumped AS p
    LEFT JOIN logged AS l USING (pad)
),
lost AS (
    SELECT coalesce(i.cause, 'no cause logged') AS cause, sum(i.hours) AS hours, sum(sum(i.hours)) OVER () AS every
    FROM pad_interval AS i, newest AS n
    WHERE i.activity = 'NPT' AND i.quarter = n.quarter
    GROUP BY ALL
)
SELECT
    CASE
        WHEN n.quarter IS NULL THEN 'Nothing is measured yet: put records into the landing folder and refresh'
        WHEN c.without > 0 THEN format(
            '{} of {} pads of {} have no time log ({}): their wireline, swap and lost hours are missing here, they did not fall',
            c.without, c.pads, n.quarter, c.names
        )
        WHEN coalesce((SELECT any_value(every) FROM lost), 0) = 0 THEN format('no lost time is logged in {}: check that the log is complete', n.quarter)
        ELSE (
            SELECT format('{} lost {}, {:.0f} % of all lost time of {}', cause, said(hours, 'h'), 100 * hours / every, n.quarter)
            FROM lost ORDER BY hours DESC, cause LIMIT 1
        )
    END AS sentence
FROM newest AS n, counted AS c
