-- title: Every fleet on every pad: its span, stages and hours
-- grain: a fleet on a pad
-- key: site, fleet
-- follows: stage, well_site
-- columns:
--   site: pad; the well if it has no pad
--   operation_mode: most frequent operation mode of its stages
--   wells: wells with a stage
--   stages: measured stages with first and last rate
--   lateral_ft [ft]: length of lateral that these stages treat
--   first_rate: first rate of the fleet on the pad
--   last_rate: last rate of the fleet on the pad
--   span_hours [h]: from the first to the last rate
--   standby_hours [h]: standby logged between stages: work on the pad was suspended
--   npt_hours [h]: lost time logged between stages
--   fleet_hours [h]: the span without standby
--   pumping_hours [h]: hours with one or more wells being pumped
--   hours_per_stage [h]: fleet hours per stage
--   stages_per_day: stages per 24 fleet hours
--   pumping_hours_per_day [h]: pumping hours per 24 fleet hours
--   lateral_ft_per_day [ft]: lateral treated per 24 fleet hours
--   npt_share [ratio]: lost time divided by fleet hours
--   quarter: quarter of its first rate, on the pad's clock
WITH turn AS (
    SELECT
        coalesce(s.pad, s.well_id) AS site,
        s.*,
        minutes_between(greatest(s.start_time, coalesce(t.fleet_before, s.start_time)), s.end_time) AS pumped_min
    FROM stage AS s
    JOIN fleet_turn AS t USING (well_id, stage)
    WHERE s.start_time IS NOT NULL AND s.end_time IS NOT NULL
),
summed AS (
    SELECT
        site,
        fleet,
        any_value(pad) AS pad,
        mode(operation_mode ORDER BY operation_mode) AS operation_mode,
        count(DISTINCT well_id)::INTEGER AS wells,
        count(*)::INTEGER AS stages,
        CASE WHEN count(stage_length_ft) = count(*) THEN sum(stage_length_ft) END AS lateral_ft,
        min(start_time) AS first_rate,
        max(end_time) AS last_rate,
        minutes_between(min(start_time), max(end_time)) / 60 AS span_hours,
        coalesce(sum(standby_in_gap_min), 0) / 60 AS standby_hours,
        coalesce(sum(npt_in_gap_min), 0) / 60 AS npt_hours,
        sum(greatest(pumped_min, 0)) / 60 AS pumping_hours,
        min(quarter) AS quarter
    FROM turn
    GROUP BY site, fleet
)
SELECT
    *,
    span_hours - standby_hours AS fleet_hours,
    fleet_hours / stages AS hours_per_stage,
    24 * stages / nullif(fleet_hours, 0) AS stages_per_day,
    24 * pumping_hours / nullif(fleet_hours, 0) AS pumping_hours_per_day,
    24 * lateral_ft / nullif(fleet_hours, 0) AS lateral_ft_per_day,
    npt_hours / nullif(fleet_hours, 0) AS npt_share
FROM summed
