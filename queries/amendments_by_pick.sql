-- title: Difference between amendments and automatic picks: a continuous check of the picks
-- reader: analyst
-- grain: a pick
-- columns:
--   made: picks made automatically
--   amended: picks that an engineer changed
--   confirmed: picks that an engineer confirmed as they are
--   share [ratio]: amended divided by made
--   mean_difference: mean of amended minus automatic value, in the pick's unit
--   mean_size: mean absolute value of that difference
--   mean_size_s [s]: mean absolute difference of amended and automatic time
--   note: caution for the reader
WITH judged AS (
    SELECT
        *,
        amended_reason IS NOT NULL AS reviewed,
        reviewed AND coalesce(amended_value = value, false) AND coalesce(amended_time = time, true) AS confirmed
    FROM pick
)
SELECT
    pick,
    count(*) FILTER (confidence <> 'none') AS made,
    count(*) FILTER (reviewed AND NOT confirmed) AS amended,
    count(*) FILTER (confirmed) AS confirmed,
    count(*) FILTER (reviewed AND NOT confirmed) / nullif(count(*) FILTER (confidence <> 'none'), 0) AS share,
    avg(amended_value - value) FILTER (reviewed AND NOT confirmed) AS mean_difference,
    avg(abs(amended_value - value)) FILTER (reviewed AND NOT confirmed) AS mean_size,
    avg(abs(epoch(amended_time - time))) FILTER (reviewed AND NOT confirmed) AS mean_size_s,
    'engineers amend only picks that look wrong: these differences are not a random sample' AS note
FROM judged
GROUP BY pick
HAVING count(*) FILTER (reviewed) > 0
ORDER BY amended DESC, pick
