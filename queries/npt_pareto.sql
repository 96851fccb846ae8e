-- title: Lost time of the fracturing phase by cause: hours, share and events per 100 stages
-- reader: manager
-- grain: a cause
-- columns:
--   cause: cause as logged
--   hours [h]: hours lost between the first and the last rate on the pads
--   share_of_lost [ratio]: share of all lost hours
--   cumulative_share [ratio]: share of this cause and all larger ones
--   share_of_fracturing [ratio]: share of the hours from first to last rate on the pads with a time log
--   events: intervals
--   events_per_100_stages: intervals per 100 measured stages of the pads with a time log
WITH logged AS (SELECT DISTINCT pad FROM pad_interval WHERE basis = 'time log'),  -- the others' losses are unknown
phase AS (SELECT * FROM pad_interval WHERE phase = 'fracturing' AND pad IN (FROM logged)),
whole AS (SELECT sum(hours) AS hours FROM phase),
pumped AS (SELECT count(*) AS stages FROM stage WHERE start_time IS NOT NULL AND pad IN (FROM logged)),
causes AS (
    SELECT coalesce(cause, 'no cause logged') AS cause, sum(hours) AS hours, count(*) AS events
    FROM phase
    WHERE activity = 'NPT'
    GROUP BY ALL
)
SELECT
    c.cause,
    c.hours,
    c.hours / sum(c.hours) OVER () AS share_of_lost,
    sum(c.hours) OVER (ORDER BY c.hours DESC, c.cause) / sum(c.hours) OVER () AS cumulative_share,
    c.hours / w.hours AS share_of_fracturing,
    c.events,
    100 * c.events / nullif(p.stages, 0) AS events_per_100_stages
FROM causes AS c, whole AS w, pumped AS p
ORDER BY c.hours DESC, c.cause
