-- title: Oil per lateral foot against proppant per foot, as recorded
-- reader: analyst
-- grain: a well with proppant and oil on record
-- columns:
--   proppant [lbm/ft]: designed proppant per foot of lateral
--   oil [bbl/ft]: oil of the first 180 days on per foot of lateral, as recorded, whatever the choke
SELECT
    CASE WHEN pad_known THEN pad END AS pad,
    well,
    formation,
    design,
    quarter,
    proppant_lbm_ft AS proppant,
    oil_bbl_ft_180d_recorded AS oil
FROM well_design
WHERE proppant_lbm_ft IS NOT NULL AND oil_bbl_ft_180d_recorded IS NOT NULL
ORDER BY well
