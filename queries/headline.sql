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
--   screenouts: stages that screened out
--   findings: findings of landing and measuring
--   set_aside: files set aside
WITH measured AS (
    SELECT m.well_id, m.quarter, m.screenout, w.pad
    FROM stage_metrics AS m
    LEFT JOIN wells AS w USING (well_id)
),
newest AS (
    SELECT max(quarter) AS quarter FROM measured
)
SELECT
    (SELECT count(DISTINCT pad) FROM measured) AS pads,
    (SELECT count(DISTINCT well_id) FROM measured) AS wells,
    (SELECT count(*) FROM measured) AS stages,
    (SELECT count(mill_min) FROM plug_metrics) AS plugs,
    (SELECT quarter FROM newest) AS last_quarter,
    (SELECT count(*) FROM measured WHERE quarter = (SELECT quarter FROM newest)) AS last_stages,
    (SELECT count(*) FROM measured WHERE screenout) AS screenouts,
    (SELECT count(*) FROM findings) AS findings,
    (SELECT count(*) FROM sources WHERE state = 'set aside') AS set_aside
