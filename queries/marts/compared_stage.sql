-- title: Stages that take part in comparisons, models and averages
-- grain: a measured stage
-- key: well_id, stage
-- follows: stage
SELECT * EXCLUDE (left_out_because) FROM stage WHERE left_out_because IS NULL
