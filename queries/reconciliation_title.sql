-- title: Result of the reconciliation with reported values
-- reader: analyst
-- grain: one row
-- columns:
--   title: the result in a sentence
WITH by_stage AS (
    SELECT
        well_id,
        stage,
        bool_or(abs(difference) <= 100) FILTER (measure = 'isip_psi') AS near,
        bool_or(abs(share) > 0.03) FILTER (measure IN ('clean_bbl', 'proppant_lbm')) AS off
    FROM reconciled
    GROUP BY ALL
)
SELECT
    CASE
        WHEN count(*) = 0 THEN 'No reported values landed yet'
        ELSE format(
            '{}; totals off by over 3 % on {} of {} stages',
            CASE
                WHEN count(near) = 0 THEN 'No ISIP reported'
                ELSE format('ISIP within {} of reported for {:.0f} % of stages', said(100, 'psi'), 100 * avg(near::INT))
            END,
            count(*) FILTER (off), count(off)
        )
    END AS title
FROM by_stage
