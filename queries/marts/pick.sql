-- title: Picks, with the amendments that replace them
-- grain: a pick of a stage, plug or run
-- key: well_id, level, number, pick
-- follows: picks, well_site
-- columns:
--   quarter: quarter of its time, on the pad's clock
SELECT
    p.* EXCLUDE (fingerprint),
    w.well,
    w.pad,
    quarter_of(timezone(w.zone, coalesce(p.amended_time, p.time))) AS quarter
FROM picks AS p
JOIN well_site AS w USING (well_id)
