-- title: Neighbouring wells: spacing, order, pressure response
-- grain: a well and a neighbour
-- key: well_id, offset_id
-- follows: offsets, well_site
-- columns:
--   neighbour: name of the neighbour as the team writes it, otherwise its well id
SELECT
    o.* EXCLUDE (source_id, source_row),
    coalesce(w.well, o.well_id) AS well,
    w.pad,
    coalesce(n.well, o.offset_id) AS neighbour
FROM offsets AS o
LEFT JOIN well_site AS w ON w.well_id = o.well_id
LEFT JOIN well_site AS n ON n.well_id = o.offset_id
