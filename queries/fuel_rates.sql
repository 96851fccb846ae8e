-- title: Fuel, efficiency and carbon dioxide per hydraulic horsepower-hour, stage, proppant and foot, by quarter and crew
-- reader: manager
-- grain: a quarter and a crew
-- columns:
--   crew: fracturing crew
--   stages: stages with fuel and hydraulic energy on record
--   fuel_per_hhp_hour: gallons of fuel per hydraulic horsepower-hour
--   fuel_per_stage [gal]: mean of these stages
--   fuel_per_1000_lbm [gal]: fuel per 1,000 lb of proppant placed
--   efficiency [ratio]: hydraulic energy over the heat of the fuel as diesel
--   co2_per_stage [kg]: carbon dioxide per stage, of the fuel as diesel
--   co2_per_1000_lbm [kg]: carbon dioxide per 1,000 lb of proppant placed
--   co2_per_ft [kg]: carbon dioxide per foot of lateral treated
SELECT
    quarter,
    coalesce(frac_crew, 'not recorded') AS crew,
    count(*) AS stages,
    sum(fuel_gal) / nullif(sum(hhp_hours), 0) AS fuel_per_hhp_hour,
    avg(fuel_gal) AS fuel_per_stage,
    1000 * sum(fuel_gal) FILTER (proppant_lbm > 0) / sum(proppant_lbm) FILTER (proppant_lbm > 0) AS fuel_per_1000_lbm,
    sum(hhp_hours) / nullif(sum(hhp_hours / fuel_efficiency), 0) AS efficiency,
    avg(fuel_co2_kg) AS co2_per_stage,
    1000 * sum(fuel_co2_kg) FILTER (proppant_lbm > 0) / sum(proppant_lbm) FILTER (proppant_lbm > 0) AS co2_per_1000_lbm,
    sum(fuel_co2_kg) FILTER (stage_length_ft > 0) / sum(stage_length_ft) FILTER (stage_length_ft > 0) AS co2_per_ft
FROM compared_stage
WHERE fuel_gal IS NOT NULL AND hhp_hours IS NOT NULL
GROUP BY ALL
ORDER BY quarter, crew
