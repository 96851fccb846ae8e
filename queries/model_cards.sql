-- title: The fitted models and their errors on held-out pads
-- reader: engineer
-- grain: a model
-- columns:
--   half_width: half width of the 90 % prediction interval, in the outcome's unit
--   coverage [ratio]: share of rows inside it, each pad held out in turn
SELECT
    model, outcome, rows, rows_left_out, pads, wells, rmse_held_out, rmse_of_mean, skill, skill_low, skill_high,
    kind, rmse_boosted, rmse_later, rmse_of_mean_later, rmse_of_physics, picker_share, interval_half_width AS half_width, coverage_90 AS coverage, span,
    verdict, interval_note, limitations
FROM model_cards
ORDER BY model
