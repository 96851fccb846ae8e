-- title: Result of the chart of lost hours
-- reader: manager
-- grain: one row
-- chart: npt_by_cause
-- columns:
--   title: the result in a sentence
WITH causes AS (SELECT cause, sum(hours) AS hours FROM chart GROUP BY cause)
SELECT
    CASE
        WHEN count(*) = 0 THEN 'No lost time on record'
        ELSE format(
            '{:.0f} h lost in total; largest cause, {:.0f} h: {}', sum(hours), max(hours),
            first(cause ORDER BY hours DESC, cause)
        )
    END AS title
FROM causes
