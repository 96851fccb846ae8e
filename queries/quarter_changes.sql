-- title: What drove the change of each quarter: a different job mix, or performance within it
-- reader: manager
-- grain: a quarter and a part of its change
-- parameters:
--   metric: mill_min, completed_pump_time_min or swap_min
-- columns:
--   part: mix (different designs and rock) or performance (change within them)
--   minutes [min]: this this part of the change against all earlier quarters
WITH parts AS (
    UNPIVOT (SELECT quarter, mix, performance FROM changes WHERE metric = $metric)
    ON mix, performance INTO NAME part VALUE minutes
)
SELECT quarter, part, minutes FROM parts ORDER BY quarter, part
