-- title: Every day of every pad: hours by activity, stages
-- grain: a day of a phase of a pad
-- key: pad, local_date, phase
-- columns:
--   quarter: quarter of the day
SELECT * EXCLUDE (fingerprint), quarter_of(local_date) AS quarter FROM pad_day_metrics
