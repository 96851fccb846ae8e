-- title: Picks that engineers amended, with the automatic pick beside
-- reader: analyst
-- grain: an amended pick
-- columns:
--   automatic: picked automatically, in the unit beside it
--   amended: set by an engineer, which counts instead
--   automatic_time: moment picked automatically, UTC
--   amended_time: moment set by an engineer, UTC
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
    confidence,
    amended_reason AS reason
FROM pick
WHERE amended_reason IS NOT NULL
ORDER BY well, level, number, pick
