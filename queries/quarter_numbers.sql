-- title: The last quarter in three numbers
-- reader: manager
-- grain: a measure
-- columns:
--   measure: name of the measure
--   quarter: the last quarter with this measure
--   value: mean of the quarter, with its unit
--   limits: 95 % limits, from pad-to-pad variation so far
--   verdict: change against all earlier quarters
--   provisional: whether part of the amount is only accrued
WITH wanted AS (
    SELECT *
    FROM (
        VALUES (1, 'hours_per_stage', 'Fleet hours per stage'), (2, 'mill_min', 'Mill time per plug'),
        (3, 'cost_per_stage', 'Cost per stage')
    ) AS w (place, metric, measure)
),
newest AS (
    SELECT metric, max(quarter) AS quarter FROM quarter_means GROUP BY metric
),
-- a zipper pad is not comparable with a single well: the pace of a quarter can be that of its mode
modes AS (
    SELECT
        n.metric,
        string_agg(DISTINCT f.operation_mode, ', ' ORDER BY f.operation_mode) FILTER (f.quarter = n.quarter) AS now,
        string_agg(DISTINCT f.operation_mode, ', ' ORDER BY f.operation_mode) FILTER (f.quarter < n.quarter) AS before
    FROM newest AS n, pad_fleet AS f
    WHERE n.metric = 'hours_per_stage'
    GROUP BY n.metric
)
SELECT
    w.measure,
    q.quarter,
    said(q.value, q.unit) AS value,
    CASE
        WHEN m.now <> m.before THEN 'no limits: operation modes differ from quarter to quarter'
        WHEN q.low IS NULL THEN 'no limits: fewer than three pads so far'
        ELSE format('{} to {}, from pad-to-pad variation', said(greatest(q.low, 0), q.unit), said(q.high, q.unit))
    END AS limits,
    CASE
        WHEN q.change IS NULL THEN 'the first quarter on record'
        ELSE concat(
            said_change(q.change, q.unit), ' against earlier quarters: ',
            CASE
                WHEN m.now <> m.before THEN format('not comparable, {} now, {} before', m.now, m.before)
                WHEN q.change_low IS NULL THEN 'too few pads to test'
                WHEN q.change_low <= 0 AND q.change_high >= 0 THEN 'within pad-to-pad variation'
                ELSE 'outside pad-to-pad variation'
            END
        )
    END AS verdict,
    w.metric = 'cost_per_stage' AND EXISTS (
        SELECT 1 FROM well AS s WHERE s.quarter = q.quarter AND s.provisional
    ) AS provisional
FROM wanted AS w
JOIN newest AS n USING (metric)
JOIN quarter_means AS q ON q.metric = n.metric AND q.quarter = n.quarter
LEFT JOIN modes AS m ON m.metric = w.metric
ORDER BY w.place
