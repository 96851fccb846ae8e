-- title: Result of the chart of oil against proppant
-- reader: analyst
-- grain: one row
-- chart: oil_by_design
-- columns:
--   title: the result in a sentence
WITH card AS (SELECT * FROM model_cards WHERE model = 'oil_180_days_recorded'),
effect AS (SELECT * FROM effects WHERE model = 'oil_180_days_recorded' AND term = 'proppant_lbm_ft'),
found AS (
    SELECT
        (SELECT count(*) FROM chart) AS shown,
        (SELECT any_value(rows) FROM card) AS wells,
        (SELECT any_value(better_than_mean) FROM card) AS better,
        (SELECT any_value(effect) FROM effect) AS effect,
        (SELECT any_value(low) FROM effect) AS low,
        (SELECT any_value(high) FROM effect) AS high,
        (SELECT any_value(p_value) FROM effect) AS p
)
SELECT
    CASE
        WHEN shown = 0 THEN 'No well with both proppant and 180 days of oil on record yet'
        WHEN better IS NULL THEN format('{} wells with proppant and 180 days of oil: too few pads for a tested model', shown)
        WHEN effect IS NULL
            THEN format('{} wells: proppant per foot cannot be separated from the other design terms', wells)
        WHEN p IS NULL OR p >= 0.05
            THEN format('{} wells: no clear link between proppant per foot and oil in 180 days, other terms equal', wells)
        WHEN NOT better
            THEN format('{} wells: proppant per foot is linked to oil in 180 days, but the model predicts pads left out no better than their mean', wells)
        ELSE format(
            'With {} more proppant, oil in 180 days was {} {} (95 %: {} to {}), other terms equal, in {} wells; pads left out are predicted better than by the mean',
            said(100, 'lbm/ft'), said(abs(effect), 'bbl/ft'), CASE WHEN effect > 0 THEN 'higher' ELSE 'lower' END,
            said(least(abs(low), abs(high)), 'bbl/ft'), said(greatest(abs(low), abs(high)), 'bbl/ft'), wells
        )
    END AS title
FROM found
