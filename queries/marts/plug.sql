-- title: Plugs reached by a mill-out run, with their run, well and design
-- grain: a measured plug
-- key: well_id, plug
-- follows: plug_metrics, plugs, coil_runs, stages, well_site
-- columns:
--   local_tag: time when the mill tagged the plug, on the pad's clock
--   local_date: day of the tag, on the pad's clock
--   quarter: quarter of the tag, on the pad's clock; none if the plug was not reached
--   mill_order: order of the plug in its run, by depth
--   depth_debris [kft]: set depth times number of plugs whose debris is carried at the mill
SELECT
    m.* EXCLUDE (fingerprint),
    p.set_depth_ft,
    p.plug_model,
    p.material,
    p.mass_lbm,
    p.rating_psi,
    p.set_time,
    p.wireline_crew,
    r.coil_crew,
    s.design,
    w.well,
    w.pad,
    w.formation,
    w.zone,
    w.lateral_ft,
    timezone(w.zone, m.tag_time) AS local_tag,
    local_tag::DATE AS local_date,
    quarter_of(local_tag) AS quarter,
    CASE
        WHEN m.run IS NOT NULL AND p.set_depth_ft IS NOT NULL
            THEN row_number() OVER (PARTITION BY m.well_id, m.run ORDER BY p.set_depth_ft, m.plug)::DOUBLE
    END AS mill_order,
    p.set_depth_ft / 1000 * m.plugs_since_wiper AS depth_debris
FROM plug_metrics AS m
JOIN well_site AS w USING (well_id)
LEFT JOIN plugs AS p USING (well_id, plug)
LEFT JOIN coil_runs AS r ON r.well_id = m.well_id AND r.run = m.run
LEFT JOIN stages AS s ON s.well_id = m.well_id AND s.stage = m.plug
