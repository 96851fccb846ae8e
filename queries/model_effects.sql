-- title: What each model's outcome goes with, other terms held
-- reader: engineer
-- grain: a term of a model
-- columns:
--   model: model
--   term: column, or column and level
--   effect: change of the outcome, an association; none where it cannot be told apart
--   per: for what change of the term, or against which level
--   low: lower 95 % limit, clustered by pad
--   high: upper 95 % limit
--   unit: unit of the outcome
SELECT model, term, effect, per, low, high, unit
FROM effects
ORDER BY model, term
