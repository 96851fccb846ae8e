-- title: What the pad did in the gap before each stage of a fleet
-- grain: a measured stage, an activity and a cause
-- key: well_id, stage, activity, cause
-- follows: pad_timeline
-- columns:
--   cause: cause of lost time; empty for other activities
--   minutes [min]: minutes of the gap booked to the activity
--   of_others: whether the time log books it to a well of another fleet
WITH served AS (SELECT DISTINCT site, fleet, well_id FROM fleet_turn)
SELECT
    t.well_id,
    t.stage,
    i.activity,
    coalesce(i.cause, '') AS cause,
    i.well_id IS NOT NULL AND s.well_id IS NULL AS of_others,
    sum(minutes_between(greatest(i.start_time, t.fleet_before), least(i.end_time, t.start_time))) AS minutes
FROM fleet_turn AS t
JOIN pad_timeline AS i ON i.pad = t.site AND i.start_time < t.start_time AND i.end_time > t.fleet_before
LEFT JOIN served AS s ON s.site = t.site AND s.fleet = t.fleet AND s.well_id = i.well_id
WHERE t.fleet_before < t.start_time
GROUP BY ALL
