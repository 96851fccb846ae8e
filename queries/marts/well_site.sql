-- title: Location, neighbours and time zone of each well
-- grain: a well in the wells table or in a record
-- key: well_id
-- columns:
--   well: name as the team writes it, otherwise the well id
--   zone: time zone of the pad's clock; that of the well or of the workspace if there is no pad
--   lateral_ft [ft]: measured depth of the toe minus that of the heel
--   casing_inside_diameter_in [in]: inside diameter of the deepest casing section
--   nearest_spacing_ft [ft]: distance to the nearest neighbour
--   longest_depletion_months [month]: longest time that a neighbour was on production before
WITH named AS (
    SELECT well_id FROM wells
    UNION SELECT well_id FROM stage_metrics
    UNION SELECT well_id FROM plug_metrics
    UNION SELECT well_id FROM coil_run_metrics
    UNION SELECT well_id FROM wireline_metrics
    UNION SELECT well_id FROM toe_prep_metrics
    UNION SELECT well_id FROM cost
    UNION SELECT well_id FROM production
),
casing AS (
    SELECT well_id, arg_max(inside_diameter_in, coalesce(bottom_md_ft, 1e6) + section / 1e3) AS inside_diameter_in
    FROM strings
    WHERE string = 'casing'
    GROUP BY well_id
),
around AS (
    SELECT well_id, min(spacing_ft) AS nearest_spacing_ft, max(depletion_months) AS longest_depletion_months
    FROM offsets
    GROUP BY well_id
)
SELECT
    n.well_id,
    coalesce(w.well_name, n.well_id) AS well,
    w.pad,
    w.formation,
    coalesce(p.zone, w.time_zone, default_zone()) AS zone,
    w.heel_md_ft,
    w.toe_md_ft,
    w.toe_md_ft - w.heel_md_ft AS lateral_ft,
    c.inside_diameter_in AS casing_inside_diameter_in,
    a.nearest_spacing_ft,
    a.longest_depletion_months
FROM named AS n
LEFT JOIN wells AS w USING (well_id)
LEFT JOIN pad AS p ON p.pad = w.pad
LEFT JOIN casing AS c USING (well_id)
LEFT JOIN around AS a USING (well_id)
