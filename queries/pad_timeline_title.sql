-- title: Result of the timeline of the last pad
-- reader: manager
-- grain: one row
-- chart: pad_timeline
-- columns:
--   title: the result in a sentence
SELECT
    CASE
        WHEN count(*) = 0 THEN 'No pad pumped yet'
        ELSE format(
            '{}: {:.1f} stages and {:.1f} pumping hours per day over {} pumping days, {:.1f} h lost',
            any_value(pad), avg(stages_completed), avg(pumping_hours), count(*), sum(npt_hours)
        )
    END AS title
FROM pad_day
WHERE stages_completed > 0 AND pad = (SELECT any_value(pad) FROM chart)
