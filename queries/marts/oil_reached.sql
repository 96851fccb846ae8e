-- title: Oil of each well after 90, 180 and 360 days on production, as recorded
-- grain: a well and a number of days that its production has reached
-- key: well_id, days
-- columns:
--   days [d]: days on production
--   oil_bbl [bbl]: cumulative oil, linear between months; none if a month before has no volume or no days
WITH months AS (
    SELECT
        *,
        bool_and(days_on IS NOT NULL AND oil_bbl IS NOT NULL) OVER by_month AS known,
        CASE WHEN known THEN sum(days_on) OVER by_month END AS total_days,
        CASE WHEN known THEN sum(oil_bbl) OVER by_month END AS total_oil
    FROM production
    WHERE in_edition(quarter_of(month))
    WINDOW by_month AS (PARTITION BY well_id ORDER BY month)
)
SELECT
    m.well_id,
    d.days,
    first(m.total_oil - m.oil_bbl * (m.total_days - d.days) / m.days_on ORDER BY m.month) AS oil_bbl
FROM months AS m, (VALUES (90), (180), (360)) AS d (days)
WHERE m.total_days - m.days_on < d.days AND m.total_days >= d.days
GROUP BY ALL
