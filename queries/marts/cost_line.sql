-- title: Cost lines, and which of them count
-- grain: a cost line
-- key: well_id, line
-- follows: cost, well_site
-- columns:
--   quarter: quarter of the service date
--   kind: budget, spent, or not stated where the state of the line is unknown
--   counts: whether it is part of a sum: not where its state is unknown, nor an accrued line whose category has an invoice in its currency
WITH lines AS (
    SELECT
        * EXCLUDE (source_id, source_row),
        quarter_of(service_date) AS quarter,
        coalesce(
            bool_or(state = 'invoiced' AND amount IS NOT NULL) OVER (PARTITION BY well_id, category, currency), false
        ) AND category IS NOT NULL AS invoiced
    FROM cost
    WHERE in_edition(quarter_of(service_date))
)
SELECT
    c.* EXCLUDE (invoiced),
    coalesce(w.well, c.well_id) AS well,
    w.pad,
    CASE WHEN c.state = 'budget' THEN 'budget' WHEN c.state IS NULL THEN 'not stated' ELSE 'spent' END AS kind,
    c.state IS NOT NULL AND NOT (c.state = 'accrued' AND c.invoiced) AS counts
FROM lines AS c
LEFT JOIN well_site AS w USING (well_id)
