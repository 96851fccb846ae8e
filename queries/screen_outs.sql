-- title: Screen-outs by crew, against what chance allows at their number of stages
-- reader: analyst
-- grain: a crew, or a point of the limits
-- columns:
--   crew: crew; limits for a point of the lines
--   stages: stages
--   events: screen-outs
--   share [ratio]: screen-outs over stages
--   target [ratio]: share of all stages
--   low_95 [ratio]: lower 95 % limit, exact, over-dispersion allowed for
--   high_95 [ratio]: upper 95 % limit
--   low_998 [ratio]: lower 99.8 % limit
--   high_998 [ratio]: upper 99.8 % limit
SELECT level AS crew, rows AS stages, events, share, target, low_95, high_95, low_998, high_998
FROM proportions
WHERE event = 'screenout'
ORDER BY crew = 'limits', crew, stages
