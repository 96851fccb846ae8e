-- title: Frac-driven interference (frac hits): responses of neighbours against spacing, depletion and volume
-- reader: engineer
-- grain: a well and a neighbour
-- columns:
--   response [psi]: highest pressure rise recorded at the neighbour
--   hit: whether the rise is 100 psi or more (chosen)
--   stages: measured stages of the well
--   fluid_bbl_ft [bbl/ft]: clean fluid of the well's stages per foot of lateral treated
--   hits_per_100_stages: hits of this pair per 100 stages of the well
WITH pumped AS (
    SELECT
        well_id,
        count(*) AS stages,
        sum(clean_bbl) FILTER (stage_length_ft > 0) / sum(stage_length_ft) FILTER (clean_bbl IS NOT NULL)
            AS fluid_bbl_ft
    FROM stage
    GROUP BY well_id
)
SELECT
    n.pad,
    n.well,
    n.neighbour,
    n.spacing_ft,
    n.completion_order,
    n.depletion_months,
    n.pressure_response_psi AS response,
    n.pressure_response_psi >= 100 AS hit,
    n.response_stage,
    p.stages,
    p.fluid_bbl_ft,
    100 * (n.pressure_response_psi >= 100)::INTEGER / nullif(p.stages, 0) AS hits_per_100_stages
FROM neighbour AS n
LEFT JOIN pumped AS p USING (well_id)
ORDER BY n.pad, n.well, n.neighbour
