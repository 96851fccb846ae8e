-- title: Result of the chart of hours
-- reader: manager
-- grain: one row
-- chart: quarter_hours
-- columns:
--   title: the result in a sentence
WITH logged AS (SELECT DISTINCT pad FROM pad_interval WHERE basis = 'time log'),
fracturing AS (
    SELECT pad, activity, hours, pad IN (FROM logged) AS is_logged FROM chart WHERE phase = 'fracturing'
),
counted AS (
    SELECT
        count(*) AS n,
        count(DISTINCT pad) FILTER (is_logged) AS pads,
        count(DISTINCT pad) FILTER (NOT is_logged) AS others,
        sum(hours) FILTER (is_logged) AS hours,
        coalesce(sum(hours) FILTER (is_logged AND activity = 'pumping'), 0) AS pumping,
        coalesce(sum(hours) FILTER (is_logged AND activity = 'NPT'), 0) AS lost
    FROM fracturing
)
SELECT
    CASE
        WHEN n = 0 THEN 'No fracturing time on record yet'
        WHEN pads = 0 THEN 'No pad has a time log: of its fracturing hours only those of pumping are known'
        ELSE format(
            'Of the fracturing hours, from first to last rate on each pad, {:.0f} % were pumping and {:.1f} % were lost{}',
            100 * pumping / hours,
            100 * lost / hours,
            CASE WHEN others > 0 THEN format('; {} of {} pads have no time log and are left out', others, pads + others)
            ELSE '' END
        )
    END AS title
FROM counted
