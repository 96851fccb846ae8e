-- title: Frac gradient (ISIP gradient) by stage and by order of the wells on the pad
-- reader: engineer
-- grain: a compared stage with an ISIP
-- columns:
--   well_order: order of the well on its pad by its first rate; 1 was fractured first
--   gradient [psi/ft]: frac gradient: ISIP and the weight of the fluid column, divided by TVD
--   above_first [psi/ft]: gradient minus the mean gradient of the well's first two measured stages
--   confidence: confidence of the ISIP
--   crew: fracturing crew
WITH ordered AS (
    SELECT pad, well_id, row_number() OVER (PARTITION BY pad ORDER BY min(start_time), well_id) AS well_order
    FROM stage
    WHERE pad IS NOT NULL
    GROUP BY pad, well_id
),
known AS (
    SELECT *, row_number() OVER (PARTITION BY well_id ORDER BY stage) AS place
    FROM compared_stage
    WHERE isip_gradient_psi_ft IS NOT NULL AND isip_confidence IS DISTINCT FROM 'low' AND stage_end IS DISTINCT FROM 'screen-out'
)
SELECT
    k.pad,
    k.well,
    k.well_id,
    o.well_order,
    k.stage,
    k.position_fraction,
    k.isip_gradient_psi_ft AS gradient,
    k.isip_gradient_psi_ft - avg(k.isip_gradient_psi_ft) FILTER (k.place <= 2) OVER (PARTITION BY k.well_id)
        AS above_first,
    k.isip_confidence AS confidence,
    k.formation,
    k.design,
    k.frac_crew AS crew,
    k.quarter
FROM known AS k
LEFT JOIN ordered AS o USING (well_id)
ORDER BY k.pad, o.well_order, k.stage
