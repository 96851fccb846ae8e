-- title: Hours to fracture the next pad against the margin to the pressure limit, for each candidate design
-- reader: engineer
-- grain: a candidate design
-- columns:
--   candidate: name of the design in the plan file
--   hours [h]: hours to fracture the pad, including the gaps between stages
--   hours_low [h]: lower 90 % limit
--   hours_high [h]: upper 90 % limit
--   margin [psi]: pressure limit minus the highest treating pressure expected at the toe
--   margin_low [psi]: lower 90 % limit
--   margin_high [psi]: upper 90 % limit
SELECT
    h.design AS candidate,
    h.value AS hours,
    h.low AS hours_low,
    h.high AS hours_high,
    m.value AS margin,
    m.low AS margin_low,
    m.high AS margin_high
FROM planned AS h
JOIN planned AS m ON m.design = h.design AND m.figure = 'pressure_margin'
WHERE h.figure = 'pad_hours' AND h.value IS NOT NULL AND m.value IS NOT NULL
ORDER BY h.place
