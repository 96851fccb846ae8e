-- title: Toe injectivity by the way the toe was opened
-- reader: analyst
-- grain: a method
-- columns:
--   method: sleeve, coil jetting, coil guns, wireline guns or other
--   wells: wells with a toe test
--   opened_at_first: wells that took fluid at the first attempt
--   first_attempts_known: wells where this is recorded
--   injectivity [bpm]: median rate of the injectivity test
--   pressure [psi]: median pressure of the injectivity test
--   stage_1_reached_rate: wells whose first stage reached 90 % of its design rate
--   stage_1_known: wells where this is known
SELECT
    coalesce(toe_method, 'not recorded') AS method,
    count(*) AS wells,
    count(*) FILTER (opened_at_first) AS opened_at_first,
    count(opened_at_first) AS first_attempts_known,
    median(injectivity_bpm) AS injectivity,
    median(injectivity_psi) AS pressure,
    count(*) FILTER (stage_1_reached_rate) AS stage_1_reached_rate,
    count(stage_1_reached_rate) AS stage_1_known
FROM toe_test
GROUP BY ALL
ORDER BY wells DESC, method
