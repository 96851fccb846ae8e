-- title: What the hole-cleaning chart says
-- reader: engineer
-- grain: one row
-- columns:
--   title: the result in a sentence
WITH runs AS (
    SELECT
        m.wiper_hours,
        m.hours,
        m.lateral_margin_high,
        m.wiper_rate_bpm / max(m.wiper_rate_bpm) OVER (PARTITION BY r.coil_diameter_in) AS share
    FROM coil_run_metrics AS m
    LEFT JOIN coil_runs AS r USING (well_id, run)
    WHERE m.wiper_trips > 0 AND m.wiper_rate_bpm IS NOT NULL
),
summed AS (
    SELECT
        count(*) AS n,
        sum(wiper_hours) AS wiping,
        sum(hours) AS hours,
        count(*) FILTER (lateral_margin_high < 1) AS slow,
        sum(wiper_hours * (1 - share)) AS saved
    FROM runs
)
SELECT
    CASE
        WHEN n = 0 THEN 'No wiper trip measured yet'
        ELSE format(
            'Wiper trips took {:.0f} of {:.0f} coil hours; {} of {} runs wiped slower than {}; '
            'the best rate everywhere would have saved about {:.0f} h',
            wiping, hours, slow, n, said(180, 'ft/min'), saved
        )
    END AS title
FROM summed
