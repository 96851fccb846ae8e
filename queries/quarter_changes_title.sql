-- title: What drove the change of the last quarter
-- reader: manager
-- grain: one row
-- parameters:
--   metric: mill_min, completed_pump_time_min or swap_min
-- columns:
--   title: the result in a sentence
WITH last_one AS (SELECT * FROM changes WHERE metric = $metric ORDER BY quarter DESC LIMIT 1)
SELECT
    coalesce(
        (
            SELECT
                replace(concat(
                    CASE metric
                        WHEN 'mill_min' THEN 'Mill time per plug'
                        WHEN 'completed_pump_time_min' THEN 'Pump time per complete stage'
                        ELSE 'Swap time'
                    END,
                    format(' in {}: {:+.1f} min against earlier quarters, ', quarter, change),
                    CASE
                        WHEN mix IS NULL THEN 'cannot be split: no comparable earlier jobs'
                        WHEN crew_mix IS NULL
                        THEN format('{:+.1f} of it from job mix, {:+.1f} from performance and new crews', mix, performance)
                        ELSE format(
                            '{:+.1f} of it from job mix, {:+.1f} from crew mix, {:+.1f} from performance',
                            mix, crew_mix, performance
                        )
                    END,
                    CASE
                        WHEN mix IS NULL THEN ''
                        WHEN performance_low IS NULL THEN '; too few pads to tell the parts from chance'
                        WHEN performance_low <= 0 AND performance_high >= 0 AND mix_low <= 0 AND mix_high >= 0
                            AND coalesce(crew_mix_low <= 0 AND crew_mix_high >= 0, true)
                        THEN '; no part is distinguishable from chance'
                        WHEN performance_low <= 0 AND performance_high >= 0
                        THEN '; performance is not distinguishable from no change'
                        ELSE ''
                    END,
                    CASE
                        WHEN p_trend IS NULL THEN ''
                        WHEN p_trend >= 0.05 THEN '; no clear trend over all quarters'
                        WHEN p_serial >= 0.05
                        THEN '; a trend over all quarters only if a quarter does not depend on the one before'
                        ELSE '; a trend over all quarters'
                    END
                ), '-', '−')
            FROM last_one
        ),
        'Two quarters are needed'
    ) AS title
