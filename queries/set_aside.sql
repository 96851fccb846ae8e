-- title: Files set aside, and how to fix them
-- reader: analyst
-- grain: a file under a map
-- columns:
SELECT path, map, line, reason, expected, found, fix
FROM sources
WHERE state = 'set aside'
ORDER BY path, map
