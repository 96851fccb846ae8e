-- title: Lost hours by cause, quarter by quarter
-- reader: manager
-- grain: a quarter, a pad and a cause
-- columns:
--   quarter: quarter in which the loss began, on the pad's clock
--   cause: cause as logged
--   hours [h]: hours lost, overlapping entries counted once
--   events: intervals
SELECT quarter, pad, coalesce(cause, 'no cause logged') AS cause, sum(hours) AS hours, count(*) AS events
FROM pad_interval
WHERE activity = 'NPT'
GROUP BY ALL
ORDER BY quarter, cause, pad
