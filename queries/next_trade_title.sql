-- title: What the trade-off of the candidate designs says
-- reader: engineer
-- grain: one row
-- columns:
--   title: the result in a sentence
WITH both_known AS (
    SELECT h.design, h.value AS hours, m.value AS margin
    FROM planned AS h
    JOIN planned AS m ON m.design = h.design AND m.figure = 'pressure_margin'
    WHERE h.figure = 'pad_hours' AND h.value IS NOT NULL AND m.value IS NOT NULL
),
judged AS (
    SELECT
        count(*) AS n,
        arg_min(design, hours) AS quickest,
        min(hours) AS fewest,
        max(hours) AS most,
        arg_max(design, margin) AS easiest,
        max(margin) AS widest
    FROM both_known
)
SELECT
    CASE
        WHEN n = 0 THEN 'No candidate design lies inside the data of both hours and pressure'
        WHEN n = 1 THEN format('{}: {} to fracture the pad, {} of margin', quickest, said(fewest, 'h'), said(widest, 'psi'))
        WHEN quickest = easiest
            THEN format('{} is predicted both quickest ({}) and furthest from the limit ({})', quickest, said(fewest, 'h'), said(widest, 'psi'))
        ELSE format('{} is predicted quickest ({}), {} furthest from the limit ({})', quickest, said(fewest, 'h'), easiest, said(widest, 'psi'))
    END AS title
FROM judged
