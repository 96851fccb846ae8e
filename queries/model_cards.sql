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
--   kind: linear, logistic or boosted: which predicts
--   rmse_linear: error of the linear model out of pad
--   rmse_boosted: of the boosted one
--   rmse_of_physics: of plain physics, nothing fitted
--   half_width: half width of the 90 % prediction interval
--   coverage [ratio]: share of rows inside it, each pad judged by the others
--   span: quarters of its rows
--   verdict: in one sentence
--   interval_note: what can be said of intervals
--   must_not: what the model must not be used for
SELECT
    model, outcome, rows, rows_left_out, pads, wells, rmse_out_of_pad, rmse_of_mean, skill, skill_low, skill_high,
    kind, rmse_linear, rmse_boosted, rmse_of_physics, interval_half_width AS half_width, coverage_90 AS coverage, span,
    verdict, interval_note, must_not
FROM model_cards
ORDER BY model
