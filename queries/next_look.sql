-- title: What to look at next before a design is chosen
-- reader: engineer
-- grain: one row
-- columns:
--   sentence: what to look at next
WITH counted AS (
    SELECT
        count(DISTINCT design) AS designs,
        count(DISTINCT design) FILTER (value IS NULL) AS outside,
        string_agg(DISTINCT design, ', ' ORDER BY design) FILTER (value IS NULL) AS names
    FROM planned
)
SELECT
    CASE
        WHEN designs = 0 THEN 'no plan file is named in the settings (plan = "next_pad.toml"): candidates are not compared'
        WHEN outside > 0 THEN format(
            '{} of {} candidates {} a figure outside the range of the data ({}): a trial there would tell more than a model',
            outside, designs, CASE WHEN outside = 1 THEN 'has' ELSE 'have' END, names
        )
        ELSE 'the margin holds at the surface only: check it against ratings, casing test and kick-out settings before it is used'
    END AS sentence
FROM counted
