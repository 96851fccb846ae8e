-- title: Every file and its state
-- reader: analyst
-- grain: a file under a map
-- columns:
SELECT
    path, map, state, lands, well_id, number, rows_in, rows_landed, findings, time_from, time_to, content_hash, landed_at
FROM sources
ORDER BY path, map
