-- title: What a comparison of crews says
-- reader: analyst
-- grain: one row
-- parameters:
--   comparison: frac_crews_pump_time or coil_crews_mill_time
-- columns:
--   title: the result in a sentence
WITH chosen AS (
    SELECT *, CASE outcome WHEN 'mill_min' THEN 'plug' ELSE 'stage' END AS per
    FROM comparisons
    WHERE comparison = $comparison
),
counted AS (
    SELECT
        count(*) AS crews,
        count(*) FILTER (separable) AS comparable,
        count(*) FILTER (shrunken_low > 0 OR shrunken_high < 0) AS clear,
        any_value(per) AS per,
        arg_min(level, shrunken) FILTER (shrunken_high < 0) AS quickest,
        min(shrunken) FILTER (shrunken_high < 0) AS least,
        arg_max(level, shrunken) FILTER (shrunken_low > 0) AS slowest,
        max(shrunken) FILTER (shrunken_low > 0) AS most,
        string_agg(level, ', ' ORDER BY level) FILTER (NOT separable) AS apart
    FROM chosen
)
SELECT
    concat(
        CASE
            WHEN crews = 0 THEN 'No crews compared yet'
            WHEN comparable = 0 THEN 'No crews that can be compared'
            WHEN clear = 0 THEN format('No clear difference between {} crews', comparable)
            WHEN least IS NOT NULL THEN format('{} takes {:.1f} min a {} less than the mean', quickest, -least, per)
            ELSE format('{} takes {:.1f} min a {} more than the mean', slowest, most, per)
        END,
        CASE WHEN apart IS NOT NULL THEN format('; {} cannot be compared', apart) ELSE '' END
    ) AS title
FROM counted
