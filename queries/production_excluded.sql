-- title: Wells excluded from production comparisons, and why
-- reader: analyst
-- grain: a well
-- columns:
--   reason: reason for the exclusion
SELECT pad, well, production_excluded AS reason
FROM well
WHERE production_excluded IS NOT NULL
ORDER BY pad, well
