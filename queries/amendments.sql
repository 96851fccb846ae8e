-- title: Picks amended by engineers, with the automatic pick
-- reader: analyst
-- grain: an amended pick
-- columns:
--   automatic: automatic value, in the unit given in the column unit
--   amended: value set by an engineer, used instead of the automatic value
--   automatic_time: automatic time, UTC
--   automatic_confidence: confidence of the automatic pick
--   amended_time: time set by an engineer, UTC
--   reason: who and why
SELECT
    well,
    well_id,
    level,
    number,
    pick,
    value AS automatic,
    amended_value AS amended,
    unit,
    time AS automatic_time,
    amended_time,
    confidence AS automatic_confidence,
    state,
    amended_reason AS reason
FROM pick
WHERE amended_reason IS NOT NULL
ORDER BY well, level, number, pick
