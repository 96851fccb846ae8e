-- title: Measured stages: measured, designed and reported values, location and time
-- grain: a measured stage
-- key: well_id, stage
-- follows: stage_metrics, stages, reported, well_site
-- columns:
--   local_start: first rate, or first sample if no rate was found, on the pad's clock
--   local_date: day on which the stage began, on the pad's clock
--   quarter: quarter in which the stage began, on the pad's clock
--   position_fraction [ratio]: position along the lateral: 0 at the toe, 1 at the heel
--   pad_order: number of earlier stages on the pad
--   well_gap_min [min]: last rate of the well's previous stage to the first rate; none if they overlap
--   transition_min [min]: crew's previous last rate on the pad, any well, to the first rate; none if they overlap
--   left_out_because: why the stage is left out of comparisons, models and averages; none for those that take part
WITH joined AS (
    SELECT
        m.* EXCLUDE (fingerprint),
        s.* EXCLUDE (well_id, stage, source_id, source_row, drag_reduction),
        r.water_bbl,
        r.fuel_gal,
        w.* EXCLUDE (well_id),
        timezone(w.zone, coalesce(m.start_time, m.record_start)) AS local_start
    FROM stage_metrics AS m
    JOIN well_site AS w USING (well_id)
    LEFT JOIN stages AS s USING (well_id, stage)
    LEFT JOIN reported AS r USING (well_id, stage)
),
ordered AS (
    SELECT
        *,
        row_number() OVER (PARTITION BY pad ORDER BY start_time NULLS LAST, well_id, stage) - 1 AS place,
        -- the latest end of all stages before: one of them may last longer than those that began after it
        max(end_time) OVER earlier_on_well AS well_before,
        max(end_time) OVER earlier_of_crew AS crew_before
    FROM joined
    WINDOW
        earlier_on_well AS (
            PARTITION BY well_id ORDER BY start_time, well_id, stage ROWS BETWEEN UNBOUNDED PRECEDING AND 1 PRECEDING
        ),
        earlier_of_crew AS (
            PARTITION BY pad, frac_crew ORDER BY start_time, well_id, stage
            ROWS BETWEEN UNBOUNDED PRECEDING AND 1 PRECEDING
        )
)
SELECT
    * EXCLUDE (place, well_before, crew_before),
    local_start::DATE AS local_date,
    quarter_of(local_start) AS quarter,
    (toe_md_ft - bottom_perf_ft) / nullif(lateral_ft, 0) AS position_fraction,
    CASE WHEN start_time IS NOT NULL AND pad IS NOT NULL THEN place::DOUBLE END AS pad_order,
    CASE WHEN well_before <= start_time THEN minutes_between(well_before, start_time) END AS well_gap_min,
    CASE
        WHEN pad IS NOT NULL AND frac_crew IS NOT NULL AND crew_before <= start_time
            THEN minutes_between(crew_before, start_time)
    END AS transition_min,
    CASE
        WHEN units_in_doubt THEN 'physics contradicts the declared unit of a channel'
        WHEN designed_proppant_lbm = 0 THEN 'its design has no proppant: an injection test'
    END AS left_out_because
FROM ordered
