-- title: Wireline by crew: runs per day, misruns, fluid and tension
-- reader: analyst
-- grain: a wireline crew
-- columns:
--   crew: wireline crew
--   runs: pump-down runs
--   pads: pads
--   runs_per_day: runs per 24 hours from the crew's first to last run on each pad
--   misruns_per_100: runs with a plug that was not set or set prematurely, or with a gun that did not fire, per 100 runs
--   run_time [h]: median hours per run
--   line_speed [ft/min]: median line speed of the pump-down
--   fluid_per_100_ft: median barrels per 100 ft pumped down
--   tension [lbf]: median of the highest tension of a run
WITH spans AS (
    SELECT wireline_crew, pad, count(*) AS runs, minutes_between(min(start_time), max(end_time)) / 1440 AS days
    FROM pump_down
    WHERE start_time IS NOT NULL AND end_time IS NOT NULL
    GROUP BY ALL
),
pace AS (SELECT wireline_crew, sum(runs) / nullif(sum(days), 0) AS runs_per_day FROM spans WHERE runs > 1 GROUP BY ALL)
SELECT
    d.wireline_crew AS crew,
    count(*) AS runs,
    count(DISTINCT d.pad) AS pads,
    any_value(p.runs_per_day) AS runs_per_day,
    100 * avg((coalesce(NOT d.plug_set, false) OR coalesce(d.preset, false) OR coalesce(d.misfires > 0, false))::INTEGER)
        AS misruns_per_100,
    median(d.run_hours) AS run_time,
    median(d.line_speed_ft_min) AS line_speed,
    median(d.bbl_per_100_ft) AS fluid_per_100_ft,
    median(d.highest_tension_lbf) AS tension
FROM pump_down AS d
LEFT JOIN pace AS p USING (wireline_crew)
WHERE d.wireline_crew IS NOT NULL
GROUP BY d.wireline_crew
ORDER BY crew
