-- title: What the chart of hours says
-- reader: manager
-- grain: one row
-- columns:
--   title: the result in a sentence
WITH total AS (
    SELECT sum(hours) AS hours, sum(pumping_hours) AS pumping, sum(npt_hours) AS lost FROM pad_day_metrics
)
SELECT
    CASE
        WHEN hours IS NULL THEN 'No time of a pad on record yet'
        ELSE format('{:.0f} % of pad time was pumping, {:.1f} % was lost', 100 * pumping / hours, 100 * lost / hours)
    END AS title
FROM total
