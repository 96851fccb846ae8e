-- title: The last quarter in three numbers
-- reader: manager
-- grain: a measure
-- columns:
--   measure: what is counted
--   quarter: the last quarter that has it
--   value: mean of the quarter with its unit
--   limits: 95 % limits, from how much the pads so far differ
--   verdict: against all quarters before
--   provisional: whether some of it is only accrued
WITH wanted AS (
    SELECT *
    FROM (
        VALUES (1, 'hours_per_stage', 'Pad hours per stage'), (2, 'mill_min', 'Mill time per plug'),
        (3, 'cost_per_stage', 'Cost per stage')
    ) AS w (place, metric, measure)
),
newest AS (
    SELECT metric, max(quarter) AS quarter FROM quarter_means GROUP BY metric
),
accrued AS (
    SELECT DISTINCT m.quarter
    FROM cost AS c
    JOIN (SELECT well_id, min(quarter) AS quarter FROM stage_metrics GROUP BY well_id) AS m USING (well_id)
    WHERE c.state = 'accrued'
)
SELECT
    w.measure,
    q.quarter,
    said(q.value, q.unit) AS value,
    CASE
        WHEN q.low IS NULL THEN 'no limits: fewer than three pads so far'
        ELSE format('{} to {}, by how pads differ', said(q.low, q.unit), said(q.high, q.unit))
    END AS limits,
    CASE
        WHEN q.change IS NULL THEN 'the first quarter on record'
        WHEN q.change_low IS NULL THEN format('{} against the quarters before; too few pads to judge', said_change(q.change, q.unit))
        WHEN q.change_low <= 0 AND q.change_high >= 0
            THEN format('{} against the quarters before: no clear change', said_change(q.change, q.unit))
        ELSE format('{} against the quarters before: more than pads differ', said_change(q.change, q.unit))
    END AS verdict,
    w.metric = 'cost_per_stage' AND q.quarter IN (SELECT quarter FROM accrued) AS provisional
FROM wanted AS w
JOIN newest AS n USING (metric)
JOIN quarter_means AS q ON q.metric = n.metric AND q.quarter = n.quarter
ORDER BY w.place
