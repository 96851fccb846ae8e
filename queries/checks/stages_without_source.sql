-- title: Measured stages without a landed file
-- reader: analyst
-- grain: a failing stage; expected: none
-- columns:
--   well_id: well
--   stage: stage
SELECT m.well_id, m.stage
FROM stage_metrics AS m
WHERE NOT EXISTS (
    SELECT 1
    FROM sources AS s
    WHERE s.state = 'landed' AND s.lands = 'treatment' AND s.well_id = m.well_id AND s.number = m.stage
)
