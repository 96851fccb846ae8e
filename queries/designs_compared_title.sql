-- title: Result of the comparison of designs
-- reader: analyst
-- grain: one row
-- chart: designs_compared
-- columns:
--   title: the result in a sentence
WITH counted AS (
    SELECT
        count(*) FILTER (separable) AS comparable,
        arg_min(design, difference) FILTER (high < 0) AS lowest,
        min(difference) FILTER (high < 0) AS least,
        max(difference) AS most,
        arg_max(design, difference) AS highest,
        string_agg(design, ', ' ORDER BY design) FILTER (NOT separable) AS apart
    FROM chart
)
SELECT
    concat(
        CASE
            WHEN comparable < 2 THEN 'No designs that can be compared'
            WHEN least IS NULL THEN format('No clear difference in treating pressure between {} designs', comparable)
            WHEN comparable = 2 THEN format(
                'Treating pressure of design {} is {} below that of design {}', lowest, said(most - least, 'psi'), highest
            )
            ELSE format('Treating pressure of design {} is {} below the mean of designs', lowest, said(-least, 'psi'))
        END,
        CASE WHEN apart IS NOT NULL THEN format('; {} cannot be compared', apart) ELSE '' END
    ) AS title
FROM counted
