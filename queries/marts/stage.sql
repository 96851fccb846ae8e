-- title: Measured stages: measured, designed and reported values, location and time
-- grain: a measured stage
-- key: well_id, stage
-- follows: stage_metrics, stages, reported, well_site, fleet_turn
-- columns:
--   local_start: first rate, or first sample if no rate was found, on the pad's clock
--   local_date: day on which the stage began, on the pad's clock
--   quarter: quarter in which the stage began, on the pad's clock
--   position_fraction [ratio]: position along the lateral: 0 at the toe, 1 at the heel
--   pad_order: number of earlier stages on the pad
--   well_gap_min [min]: last rate of the well's previous stage to the first rate; none if they overlap
--   fleet: fracturing fleet; one per pad where none is recorded
--   fleet_gap_min [min]: fleet's previous last rate on the pad, any well, to the first rate; none if they overlap
--   npt_in_gap_min [min]: lost time logged in this gap, except that of wells of another fleet
--   standby_in_gap_min [min]: standby logged in this gap: work on the pad was suspended
--   wireline_in_gap_min [min]: wireline logged in this gap
--   swap_min [min]: the gap without lost time and standby and, on a single well, without wireline; none for a single well whose gap is not logged
--   fleet_min [min]: time of the fleet that the stage took: from its previous last rate on the pad to this one's, without standby; the stages of a pad add up to its span
--   fuel_co2_kg [kg]: carbon dioxide of the fuel as diesel, 0.138 mmBtu/gal and 73.96 kg/mmBtu (40 CFR 98 subpart C, table C-1)
--   fuel_efficiency [ratio]: hydraulic energy over the heat of the fuel as diesel
--   left_out_because: why the stage is left out of comparisons, models and averages; none for those that take part
WITH joined AS (
    SELECT
        m.* EXCLUDE (fingerprint),
        s.* EXCLUDE (well_id, stage, source_id, source_row, drag_reduction, frac_fleet),
        r.water_bbl,
        r.fuel_gal,
        w.* EXCLUDE (well_id),
        timezone(w.zone, coalesce(m.start_time, m.record_start)) AS local_start
    FROM stage_metrics AS m
    JOIN well_site AS w USING (well_id)
    LEFT JOIN stages AS s USING (well_id, stage)
    LEFT JOIN reported AS r USING (well_id, stage)
),
gap AS (
    SELECT
        well_id,
        stage,
        coalesce(sum(minutes) FILTER (activity = 'NPT' AND NOT of_others), 0) AS npt,
        coalesce(sum(minutes) FILTER (activity = 'standby' AND NOT of_others), 0) AS standby,
        -- none without a log of this gap: what it held is not known
        CASE
            WHEN bool_or(activity IN ('wireline', 'swap', 'standby', 'NPT'))
                THEN coalesce(sum(minutes) FILTER (activity = 'wireline'), 0)
        END AS wireline
    FROM gap_part
    GROUP BY well_id, stage
),
ordered AS (
    SELECT
        j.*,
        t.fleet,
        t.fleet_before,
        coalesce(g.npt, 0) AS npt,
        coalesce(g.standby, 0) AS standby,
        g.wireline,
        row_number() OVER (PARTITION BY pad ORDER BY j.start_time NULLS LAST, well_id, stage) - 1 AS place,
        -- the latest end of all stages before: one of them may last longer than those that began after it
        max(j.end_time) OVER (
            PARTITION BY well_id ORDER BY j.start_time, stage ROWS BETWEEN UNBOUNDED PRECEDING AND 1 PRECEDING
        ) AS well_before
    FROM joined AS j
    JOIN fleet_turn AS t USING (well_id, stage)
    LEFT JOIN gap AS g USING (well_id, stage)
)
SELECT
    * EXCLUDE (place, well_before, fleet_before, npt, standby, wireline),
    local_start::DATE AS local_date,
    quarter_of(local_start) AS quarter,
    (toe_md_ft - bottom_perf_ft) / nullif(lateral_ft, 0) AS position_fraction,
    CASE WHEN start_time IS NOT NULL AND pad IS NOT NULL THEN place::DOUBLE END AS pad_order,
    CASE WHEN well_before <= start_time THEN minutes_between(well_before, start_time) END AS well_gap_min,
    CASE WHEN fleet_before <= start_time THEN minutes_between(fleet_before, start_time) END AS fleet_gap_min,
    CASE WHEN fleet_gap_min IS NOT NULL THEN npt END AS npt_in_gap_min,
    CASE WHEN fleet_gap_min IS NOT NULL THEN standby END AS standby_in_gap_min,
    CASE WHEN fleet_gap_min IS NOT NULL THEN wireline END AS wireline_in_gap_min,
    fleet_gap_min - npt - standby - CASE WHEN operation_mode = 'single well' THEN wireline ELSE 0 END AS swap_min,
    CASE
        WHEN end_time IS NOT NULL
            THEN greatest(minutes_between(coalesce(fleet_before, start_time), end_time) - standby, 0)
    END AS fleet_min,
    diesel_co2_kg(fuel_gal) AS fuel_co2_kg,
    hhp_hours / nullif(diesel_hp_hours(fuel_gal), 0) AS fuel_efficiency,
    CASE
        WHEN units_in_doubt THEN 'the record contradicts physics: see its findings'
        WHEN designed_proppant_lbm = 0 THEN 'its design has no proppant: an injection test'
    END AS left_out_because
FROM ordered
