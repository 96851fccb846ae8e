-- title: What a model card says in a line
-- reader: engineer
-- grain: one row
-- parameters:
--   model: treating_pressure or mill_minutes
-- columns:
--   title: the result in a sentence
SELECT
    CASE
        WHEN count(*) = 0 THEN 'No model yet: it needs three pads'
        WHEN any_value(better_than_mean) THEN format(
            'On unseen pads the model is off by {:.3g} {}, the mean by {:.3g}',
            any_value(rmse_out_of_pad), any_value(unit), any_value(rmse_of_mean)
        )
        ELSE format(
            'No better than the mean: the model is off by {:.3g} {}, the mean by {:.3g}',
            any_value(rmse_out_of_pad), any_value(unit), any_value(rmse_of_mean)
        )
    END AS title
FROM model_cards
WHERE model = $model
