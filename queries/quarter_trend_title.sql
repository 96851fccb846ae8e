-- title: Result of a quarterly chart
-- reader: manager
-- grain: one row
-- chart: quarter_trend
-- parameters:
--   metric: mill_min or completed_pump_time_min
-- columns:
--   title: the result in a sentence
WITH named AS (
    SELECT CASE $metric WHEN 'mill_min' THEN 'Mill time per plug' ELSE 'Pump time per complete stage' END AS words
),
whole AS (
    SELECT
        count(*) AS quarters,
        trend_p(list(value ORDER BY quarter)) AS p,
        trend_p_serial(list(value ORDER BY quarter)) AS p_serial,
        trend_slope(list(value ORDER BY quarter)) AS slope
    FROM chart
),
last_quarter AS (
    SELECT * FROM chart ORDER BY quarter DESC LIMIT 1
)
SELECT
    CASE
        WHEN w.quarters = 0 THEN concat(n.words, ': nothing measured yet')
        WHEN w.quarters < 4 THEN format(
            '{}: {:.1f} min in {}; too few quarters to test for a change', n.words, q.value, q.quarter
        )
        WHEN w.p < 0.05 THEN format(
            '{} {} by {:.2f} min per quarter{}', n.words, CASE WHEN w.slope < 0 THEN 'falls' ELSE 'rises' END,
            abs(w.slope),
            CASE WHEN w.p_serial < 0.05 THEN '' ELSE '; a trend only if a quarter does not depend on the one before' END
        )
        WHEN q.signal THEN format(
            '{} is unusual in {}: {:.1f} min against {:.1f} on average', n.words, q.quarter, q.value, q.centre
        )
        ELSE format(
            '{}: no clear trend; {:.1f} min in {}, {:.1f} on average', n.words, q.value, q.quarter, q.centre
        )
    END AS title
FROM named AS n
CROSS JOIN whole AS w
LEFT JOIN last_quarter AS q ON true
