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
                concat(
                    CASE metric
                        WHEN 'mill_min' THEN 'Mill time per plug'
                        WHEN 'completed_pump_time_min' THEN 'Pump time per complete stage'
                        ELSE 'Swap time'
                    END,
                    format(' in {}: {:+.1f} min against earlier quarters, ', quarter, change),
                    CASE
                        WHEN mix IS NULL THEN 'cannot be split: no comparable earlier jobs'
                        ELSE format('{:+.1f} of it from job mix, {:+.1f} from performance', mix, performance)
                    END,
                    CASE
                        WHEN p_trend IS NULL THEN ''
                        WHEN p_trend < 0.05 THEN format('; a trend over all quarters (p {:.3f})', p_trend)
                        ELSE format('; no clear trend over all quarters (p {:.2f})', p_trend)
                    END
                )
            FROM last_one
        ),
        'Two quarters are needed'
    ) AS title
