-- title: Screen-outs by crew, with the limits of chance at their number of stages
-- reader: analyst
-- grain: a crew, or a point of the limits
-- columns:
--   crew: crew; "limits" for a point of the limit lines
--   stages: stages
--   share [ratio]: screen-outs divided by stages
--   target [ratio]: share of all stages
--   p_value [ratio]: p value of the target share, adjusted for the number of crews (Holm)
SELECT level AS crew, rows AS stages, events, share, target, low_95, high_95, low_998, high_998, p_value
FROM proportions
WHERE event = 'screenout'
ORDER BY crew = 'limits', crew, stages
