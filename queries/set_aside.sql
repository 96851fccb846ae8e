-- title: Files that could not be used, and what to do
-- reader: analyst
-- grain: a file under a map
-- columns:
SELECT path, map, line, reason, expected, found, fix
FROM sources
WHERE state = 'set aside'
ORDER BY path, map
