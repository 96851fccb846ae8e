-- title: Result of the chart of pressure by depth
-- reader: analyst
-- grain: one row
-- chart: pressure_by_depth
-- columns:
--   title: the result in a sentence
WITH centred AS (  -- designs differ in depth and in pressure
    SELECT
        pressure - avg(pressure) OVER (PARTITION BY design) AS pressure,
        depth - avg(depth) OVER (PARTITION BY design) AS depth,
        reached_design_rate
    FROM chart
),
fitted AS (
    SELECT
        count(*) AS n,
        regr_slope(pressure, depth) * 1000 AS per_1000_ft,
        count(*) FILTER (NOT coalesce(reached_design_rate, true)) AS slow
    FROM centred
)
SELECT
    CASE
        WHEN n = 0 THEN 'No treating pressure with a design and a depth yet'
        ELSE concat(
            CASE
                WHEN per_1000_ft IS NULL THEN 'All stages of a design are at one depth'
                ELSE 'Within a design, treating pressure at design rate changes by ' || said_change(per_1000_ft, 'psi') || ' per '
                || said(1000, 'ft') || ' of depth, otherwise unadjusted'
            END,
            CASE WHEN slow > 0 THEN format('; {} of {} stages never reached the design rate', slow, n) ELSE '' END
        )
    END AS title
FROM fitted
