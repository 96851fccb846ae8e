-- title: What the reconciliation with reported values says
-- reader: analyst
-- grain: one row
-- columns:
--   title: the result in a sentence
WITH compared AS (
    SELECT
        abs(m.isip_psi - r.isip_psi) <= 100 AS near,
        abs(m.clean_bbl / nullif(r.clean_bbl, 0) - 1) > 0.03 OR abs(m.proppant_lbm / nullif(r.proppant_lbm, 0) - 1) > 0.03 AS off
    FROM stage_metrics AS m
    JOIN reported AS r USING (well_id, stage)
)
SELECT
    CASE
        WHEN count(*) = 0 THEN 'No reported values landed yet'
        ELSE format(
            'ISIP within {} of the reported on {:.0f} % of stages; totals off by over 3 % on {}',
            said(100, 'psi'),
            100 * coalesce(avg(near::INT), 0), count(*) FILTER (off)
        )
    END AS title
FROM compared
