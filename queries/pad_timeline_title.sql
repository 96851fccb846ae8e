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
            '{}: {:.1f} stages and {:.1f} pumping hours per 24 hours from first to last rate, {:.1f} h lost',
            any_value(site), 24 * sum(stages) / sum(fleet_hours), 24 * sum(pumping_hours) / sum(fleet_hours),
            sum(npt_hours)
        )
    END AS title
FROM pad_fleet
WHERE site = (SELECT any_value(pad) FROM chart)
