-- title: Stage values measured here, with the values reported by the providers
-- reader: analyst
-- grain: a stage and a value that is both measured and reported
-- columns:
SELECT well, stage, measure, ours, reported, difference, share, confidence
FROM reconciled
ORDER BY well, stage, measure
