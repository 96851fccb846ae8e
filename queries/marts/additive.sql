-- title: Additives of every stage, designed and used
-- grain: an additive of a stage
-- key: well_id, stage, additive
-- follows: additives, well_site, stages
-- columns:
--   used_share [ratio]: used divided by designed volume
SELECT
    a.* EXCLUDE (source_id, source_row),
    a.used_gal / nullif(a.designed_gal, 0) AS used_share,
    w.well,
    w.pad,
    s.design,
    s.frac_crew
FROM additives AS a
JOIN well_site AS w USING (well_id)
LEFT JOIN stages AS s USING (well_id, stage)
