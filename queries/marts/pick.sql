-- title: Picks, with the amendments that replace them
-- grain: a pick of a stage, plug or run
-- key: well_id, level, number, pick
-- follows: picks, well_site
-- columns:
--   state: amended, or confirmed as it was picked; none if no engineer has reviewed it
--   quarter: quarter of its time, on the pad's clock
SELECT
    p.* EXCLUDE (fingerprint),
    w.well,
    w.pad,
    CASE
        WHEN p.amended_reason IS NULL THEN NULL
        WHEN p.amended_value IS NOT DISTINCT FROM p.value AND p.amended_time IS NOT DISTINCT FROM p.time THEN 'confirmed'
        ELSE 'amended'
    END AS state,
    quarter_of(timezone(w.zone, coalesce(p.amended_time, p.time))) AS quarter
FROM picks AS p
JOIN well_site AS w USING (well_id)
