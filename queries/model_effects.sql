-- title: Variables associated with the outcome of each model, other terms held constant
-- reader: engineer
-- grain: a term of a model
-- columns:
--   effect: change of the outcome, in the unit of the row
--   low: lower 95 % limit
--   high: upper 95 % limit
--   unit: unit of the outcome
--   p_value: p value of no association
SELECT
    model,
    term,
    shown_amount(effect, unit) AS effect,
    shown_amount(low, unit) AS low,
    shown_amount(high, unit) AS high,
    shown_unit(unit) AS unit,
    per,
    said_chance(p_value) AS p_value
FROM effects
ORDER BY model, term
