-- title: The most informative trial on the next pad, if wells differ as estimated so far
-- reader: engineer
-- grain: a trial: which wells get which design
-- columns:
--   comparison: the comparison that it would improve
--   wells: design of each well
--   half_width: expected half width of the 95 % interval of the difference, with its unit
SELECT
    replace(comparison, '_', ' ') AS comparison,
    wells,
    said(half_width, unit) AS half_width,
    shrinks_to,
    note
FROM trials
ORDER BY comparison, shrinks_to
