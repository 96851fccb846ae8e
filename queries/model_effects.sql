-- title: Variables associated with the outcome of each model, other terms held constant
-- reader: engineer
-- grain: a term of a model
-- columns:
SELECT model, term, effect, per, low, high, p_value, unit
FROM effects
ORDER BY model, term
