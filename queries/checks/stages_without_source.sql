-- title: Measured stages that no landed file accounts for
-- reader: analyst
-- grain: a failing stage; none is right
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
