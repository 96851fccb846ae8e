-- title: Which crews and designs can be compared with each other, and which job would connect the others
-- reader: analyst
-- grain: a crew or design in a comparison
-- columns:
--   set: connected set; only members of one set are compared
--   compared: stages, plugs or wells compared
--   excluded: left out, without the outcome or a covariate
--   ranks: ranks that the joint limits leave open
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
