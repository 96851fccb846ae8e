-- title: Acceptance of each well's toe: how it was opened, what it took, whether stage 1 reached its rate
-- grain: a well with a toe test
-- key: well_id
-- follows: toe_tests, well_site
-- columns:
--   quarter: quarter in which the first stage was pumped, on the pad's clock
--   stage_1_reached_rate: whether the first stage reached 90 % of its design rate
SELECT
    t.* EXCLUDE (source_id, source_row),
    w.well,
    w.pad,
    w.formation,
    s.quarter,
    s.reached_design_rate AS stage_1_reached_rate
FROM toe_tests AS t
JOIN well_site AS w USING (well_id)
LEFT JOIN stage AS s ON s.well_id = t.well_id AND s.stage = 1
