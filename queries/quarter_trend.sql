-- title: A measure per quarter, with control limits
-- reader: manager
-- grain: a quarter
-- parameters:
--   metric: mill_min or completed_pump_time_min
-- columns:
--   quarter: quarter, on the pad's clock
--   value [min]: mean of the quarter
--   n: stages or plugs
--   centre [min]: mean of the quarters
--   lower [min]: centre minus 2.66 mean moving ranges (individuals chart, NIST/SEMATECH e-Handbook 6.3.2.2), for quarters that do not depend on the one before
--   upper [min]: centre plus 2.66 mean moving ranges
--   signal: whether the quarter is outside the limits
WITH measured AS (
    SELECT 'mill_min' AS metric, quarter, mill_min AS minutes FROM plug
    UNION ALL
    SELECT 'completed_pump_time_min', quarter, completed_pump_time_min FROM compared_stage
),
quarterly AS (
    SELECT quarter, avg(minutes) AS value, count(*) AS n
    FROM measured
    WHERE metric = $metric AND minutes IS NOT NULL
    GROUP BY quarter
),
ranged AS (
    SELECT *, abs(value - lag(value) OVER (ORDER BY quarter)) AS moving_range
    FROM quarterly
),
limits AS (
    SELECT avg(value) AS centre, 3 / 1.128 * avg(moving_range) AS reach
    FROM ranged
)
SELECT
    quarter,
    value,
    n,
    centre,
    centre - reach AS lower,
    centre + reach AS upper,
    coalesce(value < centre - reach OR value > centre + reach, false) AS signal
FROM ranged, limits
ORDER BY quarter
