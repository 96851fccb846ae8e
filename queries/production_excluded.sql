-- title: Wells whose production is compared with no other's, and why
-- reader: analyst
-- grain: a well
-- columns:
--   pad: pad
--   well: well
--   reason: why
SELECT w.pad, coalesce(w.well_name, e.well_id) AS well, e.reason
FROM exclusions AS e
LEFT JOIN wells AS w USING (well_id)
WHERE e.outcome = 'production'
ORDER BY w.pad, well
