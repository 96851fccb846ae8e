-- title: Every day of every pad: hours by activity, stages
-- reader: analyst
-- grain: a day of a phase of a pad
-- columns:
SELECT pad, local_date, quarter, * EXCLUDE (pad, local_date, quarter) FROM pad_day ORDER BY pad, local_date, phase
