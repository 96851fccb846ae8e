-- title: Our stage values beside what the providers reported
-- reader: analyst
-- grain: a stage and a value that both have
-- columns:
SELECT well, stage, measure, ours, reported, difference, share, confidence
FROM reconciled
ORDER BY well, stage, measure
