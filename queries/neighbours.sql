-- title: Neighbouring wells: spacing, order, pressure response
-- reader: engineer
-- grain: a well and a neighbour
-- columns:
SELECT
    pad, well, neighbour, spacing_ft, completion_order, depletion_months, pressure_response_psi, response_stage
FROM neighbour
ORDER BY pad, well, neighbour
