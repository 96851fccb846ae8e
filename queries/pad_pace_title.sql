-- title: Result of the chart of pace
-- reader: manager
-- grain: one row
-- columns:
--   title: the result in a sentence
WITH modes AS (
    SELECT
        coalesce(operation_mode, 'not recorded') AS mode,
        24 * sum(stages) / sum(fleet_hours) AS stages,
        24 * sum(pumping_hours) / sum(fleet_hours) AS pumping,
        count(*) AS pads
    FROM pad_fleet
    WHERE fleet_hours > 0 AND stages > 1
    GROUP BY mode
)
SELECT
    coalesce(
        'Stages and pumping hours per 24 hours: '
        || string_agg(
            format('{}, {:.1f} and {:.1f} ({} {})', mode, stages, pumping, pads, CASE pads WHEN 1 THEN 'pad' ELSE 'pads' END),
            '; ' ORDER BY stages DESC
        ),
        'No pad with two stages yet'
    ) AS title
FROM modes
