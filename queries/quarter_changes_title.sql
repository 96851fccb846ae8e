-- title: What drove the last quarter's change
-- reader: manager
-- grain: one row
-- parameters:
--   metric: mill_min, pump_time_min or transition_min
-- columns:
--   title: the result in a sentence
WITH chosen AS (SELECT * FROM changes WHERE metric = $metric),
last_one AS (SELECT * FROM chosen ORDER BY quarter DESC LIMIT 1)
SELECT
    coalesce(
        (
            SELECT
                concat(
                    CASE metric
                        WHEN 'mill_min' THEN 'Mill time per plug'
                        WHEN 'pump_time_min' THEN 'Pump time per stage'
                        ELSE 'Transition between stages'
                    END,
                    format(' in {}: {:+.1f} min against the quarters before, ', quarter, change),
                    CASE
                        WHEN mix IS NULL THEN 'not to be split: its jobs were not seen before'
                        ELSE format('{:+.1f} of it from other jobs, {:+.1f} from jobs done otherwise', mix, performance)
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
