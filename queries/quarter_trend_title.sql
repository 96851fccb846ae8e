-- title: What a quarterly chart says
-- reader: manager
-- grain: one row
-- parameters:
--   metric: mill_min or pump_time_min
-- columns:
--   title: the result in a sentence
WITH named AS (
    SELECT CASE $metric WHEN 'mill_min' THEN 'Mill time per plug' ELSE 'Pump time per stage' END AS words
),
measured AS (
    SELECT 'mill_min' AS metric, quarter, mill_min AS minutes FROM plug_metrics
    UNION ALL
    SELECT 'pump_time_min', quarter, pump_time_min FROM stage_metrics
),
quarterly AS (
    SELECT quarter, avg(minutes) AS value
    FROM measured
    WHERE metric = $metric AND minutes IS NOT NULL
    GROUP BY quarter
),
numbered AS (
    SELECT
        *,
        row_number() OVER (ORDER BY quarter) AS place,
        abs(value - lag(value) OVER (ORDER BY quarter)) AS moving_range
    FROM quarterly
),
limits AS (
    SELECT avg(value) AS centre, 3 / 1.128 * avg(moving_range) AS reach, count(*) AS quarters
    FROM numbered
),
-- Mann-Kendall and Theil-Sen: every pair of quarters, the later against the earlier
pairs AS (
    SELECT
        sum(sign(b.value - a.value)) AS s,
        median((b.value - a.value) / (b.place - a.place)) AS slope
    FROM numbered AS a
    JOIN numbered AS b ON b.place > a.place
),
last_quarter AS (
    SELECT quarter, value FROM numbered ORDER BY quarter DESC LIMIT 1
),
tested AS (
    SELECT
        l.*,
        p.slope,
        CASE
            WHEN p.s IS NULL OR p.s = 0 THEN 0
            ELSE (abs(p.s) - 1) / sqrt(l.quarters * (l.quarters - 1) * (2 * l.quarters + 5) / 18)
        END AS z
    FROM limits AS l, pairs AS p
)
SELECT
    CASE
        WHEN t.quarters = 0 THEN concat(n.words, ': nothing measured yet')
        WHEN t.quarters < 4 THEN format(
            '{}: {:.1f} min in {}; too few quarters to call a change', n.words, q.value, q.quarter
        )
        WHEN t.quarters >= 8 AND t.z > 1.96 THEN format(
            '{} {} by {:.2f} min a quarter', n.words, CASE WHEN t.slope < 0 THEN 'falls' ELSE 'rises' END, abs(t.slope)
        )
        WHEN q.value > t.centre + t.reach OR q.value < t.centre - t.reach THEN format(
            '{} stands out in {}: {:.1f} min against {:.1f} on average', n.words, q.quarter, q.value, t.centre
        )
        ELSE format(
            '{}: no clear change; {:.1f} min in {}, {:.1f} on average', n.words, q.value, q.quarter, t.centre
        )
    END AS title
FROM named AS n
CROSS JOIN tested AS t
LEFT JOIN last_quarter AS q ON true
