-- title: Crews and designs that are comparable with each other, and the job that would connect the others
-- reader: analyst
-- grain: a crew or design in a comparison
-- columns:
--   crew_or_design: which crew or design
--   comparable: whether it can be told from the pads on which it worked
--   set: connected set; only members of the same set are compared
--   compared: stages, plugs or wells compared
--   excluded: excluded because the outcome or a covariate is missing
--   difference: adjusted difference from the mean of its set, in the unit of the row
--   low: lower 95 % limit, for all that is compared together
--   high: upper 95 % limit, for all that is compared together
--   unit: unit of the differences
--   chance_of_lowest: chance of having the lowest value of its set
--   ranks: ranks that are possible within the joint limits
--   whole_stages: difference without stages that screened out or were cut short
--   bound_low: lowest difference if the missing outcomes lay within the middle nine tenths of the others
--   bound_high: highest difference likewise
--   limits_with_one_more_pad: width of the limits with one more pad like those so far, as a share of today's
SELECT
    comparison,
    level AS crew_or_design,
    separable AS comparable,
    "group" AS set,
    rows AS compared,
    rows_excluded AS excluded,
    pads,
    shown_amount(effect, unit) AS difference,
    shown_amount(joint_low, unit) AS low,
    shown_amount(joint_high, unit) AS high,
    shown_unit(unit) AS unit,
    said_chance(chance_best) AS chance_of_lowest,
    CASE WHEN rank_low = rank_high THEN CAST(rank_low AS VARCHAR) ELSE format('{} to {}', rank_low, rank_high) END AS ranks,
    shown_amount(effect_uncut, unit) AS whole_stages,
    shown_amount(bound_low, unit) AS bound_low,
    shown_amount(bound_high, unit) AS bound_high,
    said_chance(next_pad_share) AS limits_with_one_more_pad,
    adjusted_for,
    note
FROM comparisons
ORDER BY comparison, crew_or_design
