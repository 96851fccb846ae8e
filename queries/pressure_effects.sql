-- title: Variables associated with treating pressure at design rate
-- reader: engineer
-- grain: a term of the model
-- columns:
--   term: term, and the size of its change
--   difference [psi]: association with treating pressure, other terms held constant
--   low [psi]: lower 95 % limit, clustered by pad
--   high [psi]: upper 95 % limit, clustered by pad
--   p_value [ratio]: p value of no association, adjusted for the number of terms (Holm)
SELECT
    concat(
        replace(regexp_replace(replace(term, 'frac_crew: ', ''), '_(psi_ft|psi|ft)$', ''), '_', ' '), ' (', per, ')'
    ) AS term,
    effect AS difference,
    low,
    high,
    p_value
FROM effects
WHERE model = 'treating_pressure'
ORDER BY abs(effect) DESC NULLS LAST, term
