-- title: Intervals of one pad's timeline that overlap
-- reader: analyst
-- grain: a failing pair; expected: none
-- columns:
--   pad: pad
--   start_time: start of the later interval
--   end_time: end of the earlier one
SELECT pad, following AS start_time, end_time
FROM (
    SELECT pad, end_time, lead(start_time) OVER (PARTITION BY pad ORDER BY start_time) AS following
    FROM pad_timeline
)
WHERE following < end_time
