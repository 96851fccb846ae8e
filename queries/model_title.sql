-- title: Result of a model in one line
-- reader: engineer
-- grain: one row
-- parameters:
--   model: treating_pressure or mill_minutes
-- columns:
--   title: the result in a sentence
SELECT
    concat(
        CASE $model WHEN 'treating_pressure' THEN 'Treating pressure' ELSE 'Mill time' END,
        CASE
            WHEN count(*) = 0 THEN ': no model yet; three pads are needed'
            WHEN any_value(better_than_mean) THEN format(
                ': error on held-out pads {} (RMSE), against {} for the mean',
                said(any_value(rmse_held_out), any_value(unit)), said(any_value(rmse_of_mean), any_value(unit))
            )
            ELSE format(
                ': the model is no better than the mean ({} against {})',
                said(any_value(rmse_held_out), any_value(unit)), said(any_value(rmse_of_mean), any_value(unit))
            )
        END
    ) AS title
FROM model_cards
WHERE model = $model
