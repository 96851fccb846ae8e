-- title: What the chart of effects on treating pressure says
-- reader: engineer
-- grain: one row
-- columns:
--   title: the result in a sentence
WITH terms AS (
    SELECT term, per, effect FROM effects WHERE model = 'treating_pressure' AND (low > 0 OR high < 0)
)
SELECT
    CASE
        WHEN (SELECT count(*) FROM effects WHERE model = 'treating_pressure') = 0 THEN 'No model of treating pressure yet'
        WHEN (SELECT count(*) FROM terms) = 0 THEN 'Nothing goes with treating pressure beyond chance'
        ELSE format(
            '{} of {} terms go with treating pressure beyond chance',
            (SELECT count(*) FROM terms), (SELECT count(*) FROM effects WHERE model = 'treating_pressure' AND effect IS NOT NULL)
        )
    END AS title
