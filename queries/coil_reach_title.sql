-- title: Result of the chart of the coil's weight
-- reader: engineer
-- grain: one row
-- chart: coil_reach
-- columns:
--   title: the result in a sentence
WITH by_crew AS (
    SELECT crew, median(friction) AS friction, count(*) AS runs FROM chart WHERE friction IS NOT NULL GROUP BY crew
), least AS (
    SELECT well, margin FROM chart WHERE margin IS NOT NULL ORDER BY margin, well LIMIT 1
)
SELECT
    CASE
        WHEN (SELECT count(*) FROM by_crew) = 0 THEN 'No coil weight both ways along a lateral yet'
        ELSE format(
            'Friction of coil on casing: {}; the least margin to lock-up is {:.1f}, on {}',
            (SELECT string_agg(format('{} {:.2f} in {} runs', crew, friction, runs), ', ' ORDER BY friction) FROM by_crew),
            (SELECT margin FROM least), (SELECT well FROM least)
        )
    END AS title
