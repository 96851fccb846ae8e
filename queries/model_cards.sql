-- title: The fitted models and how they did on pads they had not seen
-- reader: engineer
-- grain: a model
-- columns:
--   model: name
--   outcome: column it predicts
--   rows: rows it was fitted on
--   rows_left_out: rows without the outcome or a predictor
--   pads: pads
--   wells: wells
--   rmse_out_of_pad: root mean square error on pads left out, in the outcome's unit
--   rmse_of_mean: the same of the training mean
--   skill [ratio]: share of the mean's squared error that it removes
--   skill_low [ratio]: lower 95 % limit
--   skill_high [ratio]: upper 95 % limit
--   verdict: in one sentence
--   interval_note: what can be said of intervals
SELECT
    model, outcome, rows, rows_left_out, pads, wells, rmse_out_of_pad, rmse_of_mean, skill, skill_low, skill_high,
    verdict, interval_note
FROM model_cards
ORDER BY model
