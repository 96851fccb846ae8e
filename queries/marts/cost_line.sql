-- title: Cost lines, and which of them are part of sums
-- grain: a cost line
-- key: well_id, line
-- follows: cost, well_site
-- columns:
--   quarter: quarter of the service date
--   kind: budget, or spent
--   counts: whether it is part of sums: an accrued line is not if the same category of the well has an invoiced line
SELECT
    c.* EXCLUDE (source_id, source_row),
    coalesce(w.well, c.well_id) AS well,
    w.pad,
    quarter_of(c.service_date) AS quarter,
    CASE WHEN c.state = 'budget' THEN 'budget' ELSE 'spent' END AS kind,
    NOT (c.state = 'accrued' AND bool_or(c.state = 'invoiced') OVER (PARTITION BY c.well_id, c.category)) AS counts
FROM cost AS c
LEFT JOIN well_site AS w USING (well_id)
