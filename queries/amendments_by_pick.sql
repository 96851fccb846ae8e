-- title: Difference between amendments and automatic picks: a continuous check of the picks
-- reader: analyst
-- grain: a pick
-- columns:
--   made: picks made automatically
--   amended: picks amended by an engineer
--   share [ratio]: amended divided by made
--   mean_difference: mean of amended minus automatic value, in the pick's unit
--   mean_size: mean absolute value of that difference
--   mean_size_s [s]: mean absolute difference of amended and automatic time
--   note: caution for the reader
SELECT
    pick,
    count(*) FILTER (confidence <> 'none') AS made,
    count(amended_reason) AS amended,
    count(amended_reason) / nullif(count(*) FILTER (confidence <> 'none'), 0) AS share,
    avg(amended_value - value) FILTER (amended_reason IS NOT NULL) AS mean_difference,
    avg(abs(amended_value - value)) FILTER (amended_reason IS NOT NULL) AS mean_size,
    avg(abs(epoch(amended_time - time))) FILTER (amended_reason IS NOT NULL) AS mean_size_s,
    'engineers amend only picks that look wrong: these differences are not a random sample' AS note
FROM pick
GROUP BY pick
HAVING count(amended_reason) > 0
ORDER BY amended DESC, pick
