-- title: Result of a comparison of crews
-- reader: analyst
-- grain: one row
-- chart: crews_compared
-- parameters:
--   comparison: frac_crews_pump_time, frac_crews_swap or coil_crews_mill_time
-- columns:
--   title: the result in a sentence
WITH counted AS (
    SELECT
        count(*) AS crews,
        count(*) FILTER (separable) AS comparable,
        any_value(per) AS per,
        arg_min(crew, difference) FILTER (high < 0) AS quickest,
        min(difference) FILTER (high < 0) AS least,
        arg_max(crew, difference) FILTER (low > 0) AS slowest,
        max(difference) FILTER (low > 0) AS most,
        string_agg(crew, ', ' ORDER BY crew) FILTER (NOT separable) AS apart
    FROM chart
)
SELECT
    concat(
        CASE
            WHEN crews = 0 THEN 'No crews compared yet'
            WHEN comparable = 0 THEN 'No crews that can be compared'
            WHEN comparable = 2 AND least IS NOT NULL
                THEN format('{} takes {:.1f} min per {} less than {}', quickest, most - least, per, slowest)
            WHEN least IS NOT NULL AND most IS NOT NULL
                THEN format('{} takes {:.1f} min per {} less than the mean, {} {:.1f} min more', quickest, -least, per, slowest, most)
            WHEN least IS NOT NULL THEN format('{} takes {:.1f} min per {} less than the mean', quickest, -least, per)
            WHEN most IS NOT NULL THEN format('{} takes {:.1f} min per {} more than the mean', slowest, most, per)
            ELSE format('No clear difference between {} crews', comparable)
        END,
        CASE WHEN apart IS NOT NULL THEN format('; {} cannot be compared', apart) ELSE '' END
    ) AS title
FROM counted
