-- title: Wells whose production cannot be compared with that of others, and why
-- reader: analyst
-- grain: a well
-- columns:
--   reason: why
SELECT pad, well, production_excluded AS reason
FROM well
WHERE production_excluded IS NOT NULL
ORDER BY pad, well
