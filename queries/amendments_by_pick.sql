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
SELECT
    pick,
    count(*) FILTER (confidence <> 'none') AS made,
    count(*) FILTER (state = 'amended') AS amended,
    count(*) FILTER (state = 'confirmed') AS confirmed,
    count(*) FILTER (state = 'amended') / nullif(count(*) FILTER (confidence <> 'none'), 0) AS share,
    avg(amended_value - value) FILTER (state = 'amended') AS mean_difference,
    avg(abs(amended_value - value)) FILTER (state = 'amended') AS mean_size,
    avg(abs(epoch(amended_time - time))) FILTER (state = 'amended') AS mean_size_s,
    'engineers amend only picks that look wrong: these differences are not a random sample' AS note
FROM pick
GROUP BY pick
HAVING count(state) > 0
ORDER BY amended DESC, pick
