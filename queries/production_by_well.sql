-- title: Production by well
-- reader: analyst
-- grain: a well with production
SELECT w.pad, w.well, p.* EXCLUDE (well_id)
FROM well_production AS p
JOIN well_site AS w USING (well_id)
ORDER BY w.pad NULLS LAST, w.well
