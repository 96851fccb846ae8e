-- title: Warning signs of screen-outs: slope of bottomhole pressure late in the proppant
-- reader: engineer
-- grain: a compared stage whose slope is known
-- columns:
--   slope [psi/min]: slope of modelled bottomhole pressure over the last ten minutes at rate with proppant at the perforations
--   crew: fracturing crew
SELECT
    pad, well, stage, design, frac_crew AS crew, quarter, bottomhole_slope_psi_min AS slope, stage_end, max_conc_ppa,
    pressure_margin_psi, flush_short_bbl
FROM compared_stage
WHERE bottomhole_slope_psi_min IS NOT NULL
ORDER BY slope DESC, pad, well, stage
