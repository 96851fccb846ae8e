-- title: Proppant and fluid placed per foot, and stages that ended early, by quarter and design
-- reader: manager
-- grain: a quarter and a design
-- columns:
--   stages: compared stages
--   proppant_lbm_ft [lbm/ft]: proppant placed per foot of lateral treated
--   fluid_bbl_ft [bbl/ft]: clean fluid pumped per foot of lateral treated
--   placed_share [ratio]: proppant placed divided by proppant designed
--   screen_outs_per_100: screen-outs per 100 stages
--   pressure_outs_per_100: stages that reached the pressure limit at their end, with a full flush, per 100 stages
--   cut_short_per_100: stages cut short per 100 stages
--   end_not_known: stages whose end is not known
SELECT
    quarter,
    coalesce(design, 'not recorded') AS design,
    count(*) AS stages,
    sum(proppant_lbm) FILTER (stage_length_ft > 0) / sum(stage_length_ft) FILTER (proppant_lbm IS NOT NULL)
        AS proppant_lbm_ft,
    sum(clean_bbl) FILTER (stage_length_ft > 0) / sum(stage_length_ft) FILTER (clean_bbl IS NOT NULL) AS fluid_bbl_ft,
    sum(proppant_lbm) FILTER (designed_proppant_lbm > 0)
    / sum(designed_proppant_lbm) FILTER (proppant_lbm IS NOT NULL) AS placed_share,
    100 * count(*) FILTER (stage_end = 'screen-out') / nullif(count(stage_end), 0) AS screen_outs_per_100,
    100 * count(*) FILTER (stage_end = 'pressure-out') / nullif(count(stage_end), 0) AS pressure_outs_per_100,
    100 * count(*) FILTER (stage_end = 'cut short') / nullif(count(stage_end), 0) AS cut_short_per_100,
    count(*) - count(stage_end) AS end_not_known
FROM compared_stage
GROUP BY ALL
ORDER BY quarter, design
