-- title: What fleets waited for between their stages
-- reader: analyst
-- grain: an operation mode, an activity and a cause
-- columns:
--   mode: operation mode of the stage after the gap
--   waited_for: activity in the gap, with the cause of lost time; other fleet: work on the wells of another fleet
--   hours [h]: hours in all gaps
--   minutes_per_gap [min]: hours divided by the number of gaps of the mode
--   share [ratio]: share of the hours of the mode's gaps
WITH waited AS (
    SELECT
        coalesce(s.operation_mode, 'not recorded') AS mode,
        CASE
            WHEN g.of_others THEN 'other fleet'
            WHEN g.cause <> '' THEN g.activity || ': ' || g.cause
            ELSE g.activity
        END AS waited_for,
        g.minutes
    FROM gap_part AS g
    JOIN stage AS s USING (well_id, stage)
    WHERE s.fleet_gap_min IS NOT NULL
),
gaps AS (
    SELECT coalesce(operation_mode, 'not recorded') AS mode, count(fleet_gap_min) AS n FROM stage GROUP BY ALL
)
SELECT
    mode,
    waited_for,
    sum(minutes) / 60 AS hours,
    sum(minutes) / any_value(n) AS minutes_per_gap,
    sum(minutes) / sum(sum(minutes)) OVER (PARTITION BY mode) AS share
FROM waited
JOIN gaps USING (mode)
GROUP BY mode, waited_for
ORDER BY mode, hours DESC, waited_for
