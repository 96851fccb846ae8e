-- title: Every file and what became of it
-- reader: analyst
-- grain: a file under a map
-- columns:
--   path: file
--   map: source map
--   state: landed, copy, superseded or set aside
--   lands: lake table
--   well_id: well
--   number: stage or run
--   rows_in: rows read
--   rows_landed: rows landed
--   findings: findings of its landing
--   time_from: first moment, UTC
--   time_to: last moment, UTC
--   content_hash: SHA-256 of the content
--   landed_at: when, UTC
SELECT
    path, map, state, lands, well_id, number, rows_in, rows_landed, findings, time_from, time_to, content_hash, landed_at
FROM sources
ORDER BY path, map
