-- title: Oil of each well's first 90 and 180 days on production, if its production is comparable
-- grain: a well with production
-- key: well_id
-- columns:
--   production_excluded: why the well's production is excluded from comparisons; empty if it is included
--   oil_90d_bbl [bbl]: oil of the first 90 days on, linear between months; none before that, or if excluded
--   oil_180d_bbl [bbl]: oil of the first 180 days on, linear between months; none before that, or if excluded
WITH months AS (
    SELECT
        *,
        row_number() OVER by_month AS age,
        bool_and(days_on IS NOT NULL AND oil_bbl IS NOT NULL) OVER by_month AS known,
        CASE WHEN known THEN sum(days_on) OVER by_month END AS days,
        CASE WHEN known THEN sum(oil_bbl) OVER by_month END AS oil
    FROM production
    WHERE in_edition(quarter_of(month))
    WINDOW by_month AS (PARTITION BY well_id ORDER BY month)
),
early AS (SELECT * FROM months WHERE age <= 3),
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
),
reached AS (
    SELECT m.well_id, d.goal, first(m.oil - m.oil_bbl * (m.days - d.goal) / m.days_on ORDER BY m.month) AS oil
    FROM months AS m, (VALUES (90), (180)) AS d (goal)
    WHERE m.days - m.days_on < d.goal AND m.days >= d.goal
    GROUP BY ALL
)
SELECT
    j.well_id,
    j.production_excluded,
    any_value(r.oil) FILTER (r.goal = 90 AND j.production_excluded IS NULL) AS oil_90d_bbl,
    any_value(r.oil) FILTER (r.goal = 180 AND j.production_excluded IS NULL) AS oil_180d_bbl
FROM judged AS j
LEFT JOIN reached AS r USING (well_id)
GROUP BY ALL
