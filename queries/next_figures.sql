-- title: All figures of the candidate designs: physics against limits, predictions inside the range of the data, sums
-- reader: engineer
-- grain: a figure of a candidate design
-- columns:
--   figure: name of the figure
--   value: value with its unit and 90 % limits; or that the design is outside the range of the data
WITH names (name, figure) AS (
    VALUES
        ('surface_pressure_limit', 'surface pressure limit'),
        ('pressure_margin', 'margin to the limit, highest pressure at the toe'),
        ('mean_pressure_margin', 'margin to the limit, mean pressure at the toe'),
        ('physics_margin', 'margin to the limit, by physics'),
        ('treating_pressure', 'treating pressure at design rate'),
        ('physics_surface_toe', 'surface pressure at the toe, by physics'),
        ('physics_surface_heel', 'surface pressure at the heel, by physics'),
        ('perforation_friction', 'perforation friction'),
        ('entry_spread', 'spread of the cluster rates'),
        ('horsepower', 'horsepower at the highest surface pressure'),
        ('plug_margin', 'margin of the plug to its rating'),
        ('breakdown_pressure', 'breakdown pressure'),
        ('screen_out', 'chance of a screen-out'),
        ('stages_per_well', 'stages per well'),
        ('pump_time', 'pump time of a stage'),
        ('fleet_gap', 'gap between a fleet''s stages'),
        ('pad_hours', 'hours to fracture the pad'),
        ('mill_minutes', 'mill time per plug'),
        ('mill_out_hours', 'hours of a mill-out'),
        ('cost_per_stage', 'cost per stage'),
        ('pad_cost', 'cost of the pad'),
        ('oil_180_days', 'oil per foot of lateral at 180 days')
),
ranked AS (SELECT *, row_number() OVER () AS rank FROM names)
SELECT
    coalesce(ranked.figure, replace(planned.figure, '_', ' ')) AS figure,
    design,
    CASE
        WHEN value IS NULL THEN 'outside the data'
        WHEN planned.figure = 'screen_out' THEN format('{:.0f} %', 100 * value)
        WHEN low IS NULL THEN said(value, unit)
        ELSE format(
            '{} ({} to {})', said(value, unit), regexp_replace(said(low, unit), ' [^0-9]*$', ''),
            regexp_replace(said(high, unit), ' [^0-9]*$', '')
        )
    END AS value,
    basis,
    note
FROM planned
LEFT JOIN ranked ON ranked.name = planned.figure
ORDER BY ranked.rank NULLS LAST, 1, place
