-- title: Ledger of well designs with their oil per foot
-- reader: analyst
-- grain: a well with a design or with production on record
SELECT
    CASE WHEN pad_known THEN pad END AS pad,
    well,
    formation,
    design,
    quarter,
    stages,
    lateral_ft,
    stage_spacing_ft,
    proppant_lbm_ft,
    fluid_bbl_ft,
    oil_bbl_ft_180d_recorded,
    oil_bbl_ft_360d_recorded
FROM well_design
ORDER BY pad NULLS LAST, well
