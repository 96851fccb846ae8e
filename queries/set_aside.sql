-- title: Files that could not be used, and what to do
-- reader: analyst
-- grain: a file under a map
-- columns:
--   path: file
--   map: source map, empty where none fits
--   line: line of the file
--   reason: why
--   expected: what was expected
--   found: what stood there
--   mend: what to do
SELECT path, map, line, reason, expected, found, mend
FROM sources
WHERE state = 'set aside'
ORDER BY path, map
