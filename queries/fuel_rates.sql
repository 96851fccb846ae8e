-- title: Fuel per hydraulic horsepower-hour, per stage and per pound of proppant, by quarter and crew
-- reader: manager
-- grain: a quarter and a crew
-- columns:
--   crew: fracturing crew
--   stages: stages with fuel and hydraulic energy on record
--   fuel_per_hhp_hour: gallons of fuel per hydraulic horsepower-hour
--   fuel_per_stage [gal]: mean of these stages
--   fuel_per_1000_lbm [gal]: fuel per 1,000 lb of proppant placed
SELECT
    quarter,
    coalesce(frac_crew, 'not recorded') AS crew,
    count(*) AS stages,
    sum(fuel_gal) / nullif(sum(hhp_hours), 0) AS fuel_per_hhp_hour,
    avg(fuel_gal) AS fuel_per_stage,
    1000 * sum(fuel_gal) FILTER (proppant_lbm > 0) / sum(proppant_lbm) FILTER (proppant_lbm > 0) AS fuel_per_1000_lbm
FROM compared_stage
WHERE fuel_gal IS NOT NULL AND hhp_hours IS NOT NULL
GROUP BY ALL
ORDER BY quarter, crew
