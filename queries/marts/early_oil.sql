-- title: Oil of each well's first 90 and 180 days on production, if its production is comparable
-- grain: a well with production
-- key: well_id
-- columns:
--   production_excluded: why the well's production is excluded from comparisons; empty if it is included
--   oil_90d_bbl [bbl]: oil of the first 90 days on, linear between months; none before that, or if excluded
--   oil_180d_bbl [bbl]: oil of the first 180 days on, linear between months; none before that, or if excluded
WITH early AS (
    SELECT *
    FROM production
    WHERE in_edition(quarter_of(month))
    QUALIFY row_number() OVER (PARTITION BY well_id ORDER BY month) <= 3
),
usual AS (SELECT median(choke_64ths) AS choke, median(flowing_pressure_psi) AS pressure FROM early),
judged AS (
    SELECT
        e.well_id,
        nullif(
            concat_ws(
                '; ',
                CASE WHEN min(e.days_on) < 15 THEN 'a month with few days on' END,
                CASE
                    WHEN median(e.choke_64ths) IS NULL OR median(e.flowing_pressure_psi) IS NULL
                        THEN 'choke or flowing pressure not recorded'
                END,
                -- over 25 % from the usual choke or 50 % from the usual pressure: not comparable (common practice)
                CASE WHEN abs(median(e.choke_64ths) / any_value(u.choke) - 1) > 0.25 THEN 'different choke' END,
                CASE
                    WHEN abs(median(e.flowing_pressure_psi) / any_value(u.pressure) - 1) > 0.5
                        THEN 'different flowing pressure'
                END
            ),
            ''
        ) AS production_excluded
    FROM early AS e, usual AS u
    GROUP BY e.well_id
)
SELECT
    j.well_id,
    j.production_excluded,
    CASE WHEN j.production_excluded IS NULL THEN p.recorded_90d_bbl END AS oil_90d_bbl,
    CASE WHEN j.production_excluded IS NULL THEN p.recorded_180d_bbl END AS oil_180d_bbl
FROM judged AS j
LEFT JOIN well_production AS p USING (well_id)
