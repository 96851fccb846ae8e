-- title: What landing and measuring found odd
-- reader: analyst
-- grain: a finding
-- columns:
--   step: ingest or measure
--   kind: short name
--   well: well
--   well_id: our name of the well
--   level: file, stage, plug or run
--   number: stage, plug or run
--   message: what was seen
--   path: file
--   row: line of the file
SELECT f.step, f.kind, coalesce(w.well_name, f.well_id) AS well, f.well_id, f.level, f.number, f.message, f.path, f.row
FROM findings AS f
LEFT JOIN wells AS w USING (well_id)
ORDER BY f.step, f.kind, well, f.number, f.path
