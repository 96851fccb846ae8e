-- title: What the timeline of the last pad says
-- reader: manager
-- grain: one row
-- columns:
--   title: the result in a sentence
WITH last_pad AS (
    SELECT pad FROM pad_timeline WHERE activity = 'pumping' ORDER BY end_time DESC LIMIT 1
),
days AS (
    SELECT d.* FROM pad_day_metrics AS d JOIN last_pad USING (pad) WHERE d.stages_completed > 0
)
SELECT
    CASE
        WHEN count(*) = 0 THEN 'No pad pumped yet'
        ELSE format(
            '{}: {:.1f} stages and {:.1f} pumping hours a day over {} pumping days, {:.1f} h lost',
            any_value(pad), avg(stages_completed), avg(pumping_hours), count(*), sum(npt_hours)
        )
    END AS title
FROM days
