-- title: Hours of the pads by activity, quarter by quarter
-- reader: manager
-- grain: a quarter, a pad, a phase and an activity
-- columns:
--   activity: pumping, wireline, swap, coil, standby, NPT or not booked
--   hours [h]: hours, from records if they exist, otherwise from the time log
--   share [ratio]: share of the hours of the phase in the quarter
WITH parts AS (
    UNPIVOT (
        SELECT
            quarter,
            pad,
            phase,
            sum(pumping_hours) AS pumping,
            sum(wireline_hours) AS wireline,
            sum(swap_hours) AS swap,
            sum(coil_hours) AS coil,
            sum(standby_hours) AS standby,
            sum(npt_hours) AS "NPT",
            sum(not_booked_hours) AS "not booked"
        FROM pad_day
        GROUP BY quarter, pad, phase
    )
    ON pumping, wireline, swap, coil, standby, "NPT", "not booked"
    INTO NAME activity VALUE hours
)
SELECT quarter, pad, phase, activity, hours, hours / sum(hours) OVER (PARTITION BY quarter, phase) AS share
FROM parts
WHERE hours > 0
ORDER BY quarter, activity, pad, phase
