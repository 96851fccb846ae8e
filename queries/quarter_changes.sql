-- title: What drove the change of each quarter: other jobs, other crews, or performance within both
-- reader: manager
-- grain: a quarter and a part of its change
-- parameters:
--   metric: mill_min, completed_pump_time_min or swap_min
-- columns:
--   part: job mix (different designs and rock), crew mix (different crews on them) or performance (change within both)
--   minutes [min]: this part of the change against all earlier quarters
--   low [min]: lower 95 % limit of the part, from resampled pads; missing with fewer than three pads on a side
--   high [min]: upper 95 % limit of the part
--   clear: whether the limits exclude zero
WITH parts AS (
    SELECT quarter, 1 AS place, 'job mix' AS part, mix AS minutes, mix_low AS low, mix_high AS high
    FROM changes
    WHERE metric = $metric
    UNION ALL
    SELECT quarter, 2, 'crew mix', crew_mix, crew_mix_low, crew_mix_high FROM changes WHERE metric = $metric
    UNION ALL
    SELECT quarter, 3, 'performance', performance, performance_low, performance_high
    FROM changes
    WHERE metric = $metric
)
SELECT quarter, part, minutes, low, high, low > 0 OR high < 0 AS clear
FROM parts
WHERE minutes IS NOT NULL
ORDER BY quarter, place
