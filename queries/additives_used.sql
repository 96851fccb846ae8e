-- title: Additives used against design
-- reader: engineer
-- grain: an additive and a design
-- columns:
--   stages: stages with a designed and a used volume
--   designed [gal]: sum of the designed volumes of these stages
--   used [gal]: sum of the used volumes of these stages
--   used_share [ratio]: used divided by designed
--   lowest_share [ratio]: lowest of a stage
--   highest_share [ratio]: highest of a stage
SELECT
    additive,
    coalesce(design, 'not recorded') AS design,
    count(used_share) AS stages,
    sum(designed_gal) FILTER (used_share IS NOT NULL) AS designed,
    sum(used_gal) FILTER (used_share IS NOT NULL) AS used,
    sum(used_gal) FILTER (used_share IS NOT NULL) / nullif(sum(designed_gal) FILTER (used_share IS NOT NULL), 0)
        AS used_share,
    min(used_share) AS lowest_share,
    max(used_share) AS highest_share
FROM additive
GROUP BY ALL
ORDER BY additive, design
