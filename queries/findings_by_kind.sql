-- title: Findings by kind
-- reader: manager
-- grain: a kind of finding
-- columns:
--   step: ingest or measure
--   kind: short name of the finding of the finding
--   findings: number of findings
--   example: one of them
SELECT step, kind, count(*) AS findings, min(message) AS example
FROM findings
GROUP BY ALL
ORDER BY findings DESC, kind
