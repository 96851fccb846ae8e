-- title: Production of each well, as recorded
-- grain: a well with production
-- key: well_id
-- columns:
--   first_month: first month of production
--   months: months on record
--   days_on [d]: days on production
--   oil_bbl [bbl]: oil on record
--   gas_mcf [mcf]: gas on record
--   water_bbl [bbl]: water on record
--   recorded_90d_bbl [bbl]: oil of the first 90 days on, as recorded, whatever the choke
--   recorded_180d_bbl [bbl]: oil of the first 180 days on, as recorded, whatever the choke
--   recorded_360d_bbl [bbl]: oil of the first 360 days on, as recorded, whatever the choke
WITH reached AS (
    SELECT
        well_id,
        any_value(oil_bbl) FILTER (days = 90) AS recorded_90d_bbl,
        any_value(oil_bbl) FILTER (days = 180) AS recorded_180d_bbl,
        any_value(oil_bbl) FILTER (days = 360) AS recorded_360d_bbl
    FROM oil_reached
    GROUP BY well_id
),
total AS (
    SELECT
        well_id,
        min(month) AS first_month,
        count(*) AS months,
        sum(days_on) AS days_on,
        sum(oil_bbl) AS oil_bbl,
        sum(gas_mcf) AS gas_mcf,
        sum(water_bbl) AS water_bbl
    FROM production
    WHERE in_edition(quarter_of(month))
    GROUP BY well_id
)
SELECT t.*, r.* EXCLUDE (well_id)
FROM total AS t
LEFT JOIN reached AS r USING (well_id)
