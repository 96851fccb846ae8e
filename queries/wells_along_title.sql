-- title: Result of a chart of stages along the wells
-- reader: engineer
-- grain: one row
-- chart: wells_along
-- parameters:
--   measure: pressure, isip, breakdown, placed, pump_time or mill_time
-- columns:
--   title: the result in a sentence
WITH named AS (
    SELECT
        *,
        -- an injection test has another pressure, a screen-out another ISIP; a doubtful pick is no extreme to name
        CASE $measure
            WHEN 'pressure' THEN CASE WHEN at_rate OR NOT bool_or(at_rate) OVER () THEN pressure END
            WHEN 'isip' THEN CASE WHEN isip_confidence <> 'low' AND ended IS DISTINCT FROM 'screen-out' THEN isip END
            WHEN 'breakdown' THEN CASE WHEN breakdown_confidence <> 'low' THEN breakdown END
            WHEN 'placed' THEN placed_share
            WHEN 'pump_time' THEN pump_time
            ELSE mill_time
        END AS value
    FROM chart
    WHERE compared
),
counted AS (
    SELECT
        count(value) AS n,
        count(DISTINCT well) FILTER (value IS NOT NULL) AS wells,
        median(value) AS middle,
        min(value) AS lowest,
        max(value) AS highest,
        arg_min(format('{}, stage {}', well, stage), value) AS lowest_at,
        arg_max(format('{}, stage {}', well, stage), value) AS highest_at,
        bool_or(at_rate) AS any_at_rate,
        count(*) FILTER (ended = 'screen-out') AS screened_out,
        count(*) FILTER (value < 0.95) AS below
    FROM named
),
worded AS (
    SELECT
        *,
        CASE $measure
            WHEN 'pressure' THEN CASE WHEN any_at_rate THEN 'Treating pressure at rate' ELSE 'Treating pressure' END
            WHEN 'isip' THEN 'ISIP of medium or high confidence, without screen-outs'
            WHEN 'breakdown' THEN 'Breakdown pressure of medium or high confidence'
            WHEN 'placed' THEN 'Proppant placed'
            WHEN 'pump_time' THEN 'Pump time'
            ELSE 'Mill time per plug'
        END AS words,
        CASE WHEN $measure IN ('pressure', 'isip', 'breakdown') THEN 'psi' ELSE 'min' END AS unit
    FROM counted
)
SELECT
    CASE
        WHEN n = 0 THEN concat(words, ': nothing measured yet')
        WHEN $measure = 'placed' THEN format(
            '{}: {:.0f} % of the design on median over {} {}; {} of them below 95 %, {} screened out', words, 100 * middle, n,
            CASE n WHEN 1 THEN 'stage' ELSE 'stages' END, below, screened_out
        )
        WHEN n = 1 THEN format('{}: {} at {}', words, said(middle, unit), highest_at)
        ELSE format(
            '{}: {} on median over {} {}; lowest {} ({}), highest {} ({})', words, said(middle, unit), wells,
            CASE wells WHEN 1 THEN 'well' ELSE 'wells' END, said(lowest, unit), lowest_at, said(highest, unit), highest_at
        )
    END AS title
FROM worded
