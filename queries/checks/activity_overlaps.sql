-- title: Intervals of one pad that overlap
-- reader: analyst
-- grain: a failing pair; expected: none
-- columns:
--   pad: pad
--   start_time: start of the later interval
--   end_time: end of the earlier one
SELECT a.pad, b.start_time, a.end_time
FROM activity AS a
JOIN activity AS b
    ON a.pad = b.pad AND a.start_time < b.start_time AND b.start_time < a.end_time
