-- title: Difference between amendments and automatic picks: a running check of the picks
-- reader: analyst
-- grain: a pick
-- columns:
--   made: picks made automatically
--   amended: picks that an engineer amended
--   share [ratio]: amended over made
--   mean_difference: mean of amended less automatic value, in the pick's unit
--   mean_size: mean size of that difference
--   mean_size_s [s]: mean size of amended less automatic moment
--   note: what a reader must know
SELECT
    pick,
    count(*) FILTER (confidence <> 'none') AS made,
    count(amended_reason) AS amended,
    count(amended_reason) / nullif(count(*) FILTER (confidence <> 'none'), 0) AS share,
    avg(amended_value - value) FILTER (amended_reason IS NOT NULL) AS mean_difference,
    avg(abs(amended_value - value)) FILTER (amended_reason IS NOT NULL) AS mean_size,
    avg(abs(epoch(amended_time - time))) FILTER (amended_reason IS NOT NULL) AS mean_size_s,
    'engineers amend what looks wrong: these differences are not those of a random sample' AS note
FROM pick
GROUP BY pick
HAVING count(amended_reason) > 0
ORDER BY amended DESC, pick
