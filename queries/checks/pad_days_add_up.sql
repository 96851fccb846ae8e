-- title: Pad days whose hours by activity do not add up
-- reader: analyst
-- grain: a failing day of a pad; expected: none
-- columns:
--   pad: pad
--   local_date: day
--   hours [h]: hours of the day
--   parts [h]: sum of the activities
SELECT
    pad,
    local_date,
    hours,
    pumping_hours + wireline_hours + swap_hours + coil_hours + standby_hours + npt_hours + not_booked_hours AS parts
FROM pad_day_metrics
WHERE abs(hours - parts) > 0.01 OR hours > 25.01
