-- title: Findings of landing and measuring
-- reader: analyst
-- grain: a finding
-- follows: findings
-- columns:
--   well: name as the team writes it, otherwise the well id
SELECT f.step, f.kind, coalesce(w.well, f.well_id) AS well, f.well_id, f.level, f.number, f.message, f.path, f.row
FROM findings AS f
LEFT JOIN well AS w USING (well_id)
ORDER BY f.step, f.kind, well, f.number, f.path, f.row, f.message
