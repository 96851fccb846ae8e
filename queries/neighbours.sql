-- title: Neighbouring wells: spacing, order, what they felt
-- reader: engineer
-- grain: a well and a neighbour
-- columns:
--   pad: pad
--   well: well completed
--   neighbour: neighbour
--   spacing_ft [ft]: distance between the laterals
--   completion_order: whether the neighbour was completed before, with or after the well
--   depletion_months [ratio]: months the neighbour produced before
--   pressure_response_psi [psi]: highest pressure rise at the neighbour
--   response_stage: stage during which it was recorded
SELECT
    w.pad,
    coalesce(w.well_name, o.well_id) AS well,
    coalesce(n.well_name, o.offset_id) AS neighbour,
    o.spacing_ft,
    o.completion_order,
    o.depletion_months,
    o.pressure_response_psi,
    o.response_stage
FROM offsets AS o
LEFT JOIN wells AS w ON w.well_id = o.well_id
LEFT JOIN wells AS n ON n.well_id = o.offset_id
ORDER BY w.pad, well, neighbour
