-- title: Who can be compared with whom, and which job would tell the others apart
-- reader: analyst
-- grain: a crew or design in a comparison
-- columns:
--   comparison: comparison
--   level: crew or design
--   set: connected set; only members of one set are compared
--   separable: whether it can be told from its pads
--   compared: stages, plugs or wells compared
--   excluded: left out, without the outcome or a covariate
--   pads: pads
--   effect: adjusted difference, in the outcome's unit
--   effect_uncut: the same without stages cut short or screened out
--   bound_low: the same if the excluded rows were as good as the best twentieth
--   bound_high: the same if they were as bad as the worst twentieth
--   chance_best [ratio]: chance of being the least of its set
--   ranks: ranks that the joint limits leave open
--   adjusted_for: covariates
--   note: what a reader must know
SELECT
    comparison,
    level,
    "group" AS set,
    separable,
    rows AS compared,
    rows_excluded AS excluded,
    pads,
    effect,
    effect_uncut,
    bound_low,
    bound_high,
    chance_best,
    CASE WHEN rank_low IS NOT NULL THEN format('{} to {}', rank_low, rank_high) END AS ranks,
    adjusted_for,
    note
FROM comparisons
ORDER BY comparison, level
