-- title: Which candidate design comes first, or why none does
-- reader: engineer
-- grain: one row
-- columns:
--   title: the result in a sentence
SELECT
    coalesce(
        any_value(verdict),
        'No plan for the next pad: the settings name none, it could not be used, or no model is fitted yet'
    ) AS title
FROM planned
