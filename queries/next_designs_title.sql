-- title: Best candidate design, or why there is none
-- reader: engineer
-- grain: one row
-- columns:
--   title: the result in a sentence
SELECT
    coalesce(
        any_value(pad) || coalesce(', limit of ' || said(max(value) FILTER (figure = 'surface_pressure_limit'), 'psi'), '')
        || ': ' || any_value(verdict),
        'No plan for the next pad: the settings name none, the plan cannot be used, or no model is fitted yet'
    ) AS title
FROM planned
