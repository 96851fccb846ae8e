-- title: Hours worked on every pad
-- grain: a period of a pad
-- key: pad, period_start
-- follows: exposure_hours
-- columns:
--   quarter: quarter in which the period begins
SELECT * EXCLUDE (source_id, source_row), quarter_of(period_start) AS quarter FROM exposure_hours
