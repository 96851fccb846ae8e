-- title: The most informative trial on the next pad, if wells differ as estimated so far
-- reader: engineer
-- grain: a trial: which wells get which design
-- columns:
--   comparison: the comparison that it would improve
--   wells: design of each well
--   shrinks_to: width of the limits after the trial, as a share of today's
--   half_width: expected half width of the 95 % interval of the difference, with its unit
SELECT
    comparison,
    wells,
    said(half_width, unit) AS half_width,
    said_chance(shrinks_to) AS shrinks_to,
    note
FROM trials
ORDER BY comparison, trials.shrinks_to
