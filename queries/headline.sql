-- title: How much is in the lake, and in its last quarter
-- reader: manager
-- grain: one row
-- columns:
--   pads: pads with a measured stage
--   wells: wells with a measured stage
--   stages: measured stages
--   plugs: plugs with a mill time
--   last_quarter: the newest quarter with a measured stage
--   last_stages: stages of that quarter
--   screen_outs: stages that screened out
--   findings: findings of landing and measuring
--   set_aside: files set aside
WITH newest AS (SELECT max(quarter) AS quarter FROM stage)
SELECT
    count(DISTINCT s.pad) AS pads,
    count(DISTINCT s.well_id) AS wells,
    count(*) AS stages,
    (SELECT count(mill_min) FROM plug) AS plugs,
    any_value(n.quarter) AS last_quarter,
    count(*) FILTER (s.quarter = n.quarter) AS last_stages,
    count(*) FILTER (s.screenout) AS screen_outs,
    (SELECT count(*) FROM findings) AS findings,
    (SELECT count(*) FROM sources WHERE state = 'set aside') AS set_aside
FROM stage AS s, newest AS n
