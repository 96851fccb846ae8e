-- title: Pads and their clock
-- grain: a pad in the wells table
-- key: pad
-- columns:
--   zone: time zone of the pad's clock; the workspace's if none of its wells has one
--   wells: wells on record
SELECT pad, coalesce(min(time_zone), default_zone()) AS zone, count(*)::INTEGER AS wells
FROM wells
WHERE pad IS NOT NULL
GROUP BY pad
