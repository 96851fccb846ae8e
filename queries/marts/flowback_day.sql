-- title: Days of flowback, with sums since the first
-- grain: a day of a well's flowback
-- key: well_id, day
-- follows: flowback, well_site
-- columns:
--   quarter: quarter of the day
--   flow_day: number of the day since the first one
--   water_sum_bbl [bbl]: water since the first day
--   oil_sum_bbl [bbl]: oil since the first day
--   drawdown_psi [psi]: reservoir pressure minus flowing bottomhole pressure
SELECT
    f.* EXCLUDE (source_id, source_row),
    quarter_of(f.day) AS quarter,
    date_diff('day', min(f.day) OVER (PARTITION BY f.well_id), f.day) + 1 AS flow_day,
    sum(f.water_bbl) OVER until AS water_sum_bbl,
    sum(f.oil_bbl) OVER until AS oil_sum_bbl,
    f.reservoir_pressure_psi - f.bottomhole_pressure_psi AS drawdown_psi,
    w.well,
    w.pad,
    w.formation,
    w.lateral_ft
FROM flowback AS f
JOIN well_site AS w USING (well_id)
WINDOW until AS (PARTITION BY f.well_id ORDER BY f.day)
