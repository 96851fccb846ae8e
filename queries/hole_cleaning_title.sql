-- title: Result of the hole-cleaning chart
-- reader: engineer
-- grain: one row
-- chart: hole_cleaning
-- columns:
--   title: the result in a sentence
SELECT
    CASE
        WHEN count(*) = 0 THEN 'No wiper trip measured yet'
        ELSE format(
            'Wiper trips took {:.0f} of {:.0f} coil hours; runs slower than planned: {} of {}; '
            'the best rate in every run would have saved about {:.0f} h',
            sum(wiper_hours), sum(hours), count(*) FILTER (lateral_margin < 1), count(*), sum(saved_hours)
        )
    END AS title
FROM chart
