-- title: Crews and designs that are comparable with each other, and the job that would connect the others
-- reader: analyst
-- grain: a crew or design in a comparison
-- columns:
--   set: connected set; only members of the same set are compared
--   compared: stages, plugs or wells compared
--   excluded: excluded because the outcome or a covariate is missing
--   freedom: degrees of freedom of the limits
--   one_more_pad: width of the joint limits with one more pad like those so far, as a share of today's
--   ranks: ranks that are possible within the joint limits
SELECT
    comparison,
    level,
    "group" AS set,
    separable,
    rows AS compared,
    rows_excluded AS excluded,
    pads,
    effect,
    freedom,
    next_pad_share AS one_more_pad,
    effect_uncut,
    bound_low,
    bound_high,
    chance_best,
    CASE WHEN rank_low IS NOT NULL THEN format('{} to {}', rank_low, rank_high) END AS ranks,
    adjusted_for,
    note
FROM comparisons
ORDER BY comparison, level
