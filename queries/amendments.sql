-- title: Picks that engineers amended, with the automatic pick beside
-- reader: analyst
-- grain: an amended pick
-- columns:
--   well: well
--   well_id: our name of the well
--   level: stage, plug or run
--   number: stage, plug or run
--   pick: name of the pick
--   automatic: picked automatically, in the unit beside it
--   amended: set by an engineer, which counts instead
--   unit: unit
--   automatic_time: moment picked automatically, UTC
--   amended_time: moment set by an engineer, UTC
--   confidence: of the automatic pick
--   reason: who and why
SELECT
    coalesce(w.well_name, p.well_id) AS well,
    p.well_id,
    p.level,
    p.number,
    p.pick,
    p.value AS automatic,
    p.amended_value AS amended,
    p.unit,
    p.time AS automatic_time,
    p.amended_time,
    p.confidence,
    p.amended_reason AS reason
FROM picks AS p
LEFT JOIN wells AS w USING (well_id)
WHERE p.amended_reason IS NOT NULL
ORDER BY well, p.level, p.number, p.pick
