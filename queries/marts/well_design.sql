-- title: Designs of wells with their oil, from tables of wells or from their stages
-- grain: a well with a design or with production on record
-- key: well_id
-- follows: well_site
-- columns:
--   formation: landing zone, or "not stated"
--   pad: pad; the well itself where no pad is on record
--   pad_known: whether its pad is on record
--   design: name of the design, or the most frequent one of its stages
--   quarter: quarter in which the completion ended; that of the first stage where no date is on record
--   stages: number of stages
--   lateral_ft [ft]: length of the lateral: as stated, or toe minus heel
--   stage_spacing_ft [ft]: lateral per stage
--   proppant_lbm_ft [lbm/ft]: designed proppant per foot of lateral
--   fluid_bbl_ft [bbl/ft]: designed fluid per foot of lateral
--   oil_bbl_ft_180d_recorded [bbl/ft]: oil of the first 180 days on per foot of lateral, as recorded, whatever the choke
--   oil_bbl_ft_360d_recorded [bbl/ft]: oil of the first 360 days on per foot of lateral, as recorded, whatever the choke
WITH staged AS (
    SELECT
        well_id,
        count(*) AS n,
        mode(design ORDER BY design) AS design,
        CASE WHEN count(designed_proppant_lbm) = count(*) THEN sum(designed_proppant_lbm) END AS proppant_lbm,
        CASE WHEN count(designed_fluid_bbl) = count(*) THEN sum(designed_fluid_bbl) END AS fluid_bbl
    FROM stages
    GROUP BY well_id
),
pumped AS (SELECT well_id, min(quarter) AS quarter FROM stage GROUP BY well_id),
stated AS (
    SELECT
        w.* EXCLUDE (pad, formation, lateral_ft),
        coalesce(w.formation, 'not stated') AS formation,
        coalesce(w.pad, w.well_id) AS pad,
        w.pad IS NOT NULL AS pad_known,
        coalesce(d.design, s.design) AS design,
        coalesce(quarter_of(d.completed_on), p.quarter) AS quarter,
        coalesce(d.stages, t.stage_count, s.n)::INTEGER AS stages,
        coalesce(d.lateral_ft, w.lateral_ft) AS lateral_ft,
        d.proppant_lbm,
        d.fluid_bbl,
        -- only where all stages are on record
        CASE WHEN s.n = coalesce(d.stages, t.stage_count, s.n) THEN s.proppant_lbm END AS staged_proppant_lbm,
        CASE WHEN s.n = coalesce(d.stages, t.stage_count, s.n) THEN s.fluid_bbl END AS staged_fluid_bbl,
        d.proppant_lbm_ft AS stated_proppant_lbm_ft,
        d.fluid_bbl_ft AS stated_fluid_bbl_ft,
        coalesce(o.recorded_180d_bbl, d.oil_180d_bbl) AS oil_180d,
        coalesce(o.recorded_360d_bbl, d.oil_360d_bbl) AS oil_360d
    FROM well_site AS w
    LEFT JOIN well_designs AS d USING (well_id)
    LEFT JOIN wells AS t USING (well_id)
    LEFT JOIN staged AS s USING (well_id)
    LEFT JOIN pumped AS p USING (well_id)
    LEFT JOIN well_production AS o USING (well_id)
    WHERE coalesce(d.well_id, s.well_id, o.well_id) IS NOT NULL
)
SELECT
    well_id,
    well,
    pad,
    pad_known,
    formation,
    design,
    quarter,
    stages,
    lateral_ft,
    lateral_ft / nullif(stages, 0) AS stage_spacing_ft,
    coalesce(
        proppant_lbm / nullif(lateral_ft, 0), stated_proppant_lbm_ft, staged_proppant_lbm / nullif(lateral_ft, 0)
    ) AS proppant_lbm_ft,
    coalesce(
        fluid_bbl / nullif(lateral_ft, 0), stated_fluid_bbl_ft, staged_fluid_bbl / nullif(lateral_ft, 0)
    ) AS fluid_bbl_ft,
    nearest_spacing_ft,
    oil_180d / nullif(lateral_ft, 0) AS oil_bbl_ft_180d_recorded,
    oil_360d / nullif(lateral_ft, 0) AS oil_bbl_ft_360d_recorded
FROM stated
