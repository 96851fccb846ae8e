-- title: What to look at next among the wells completed last
-- reader: engineer
-- grain: one row
-- chart: wells_along
-- columns:
--   sentence: what to look at next
WITH counted AS (
    SELECT
        count(*) AS n,
        count(*) FILTER ('low' IN (isip_confidence, breakdown_confidence)) AS doubtful,
        min(format('{}, stage {}', well, stage)) FILTER ('low' IN (isip_confidence, breakdown_confidence)) AS first_doubt,
        count(*) FILTER (ended = 'screen-out') AS screened_out,
        count(*) FILTER (ended IS NULL) AS unknown,
        max(format('{}, stage {}', well, stage)) FILTER (ended = 'screen-out') AS last_out
    FROM chart
)
SELECT
    CASE
        WHEN n = 0 THEN 'no stage is measured yet: put a treatment record into the landing folder'
        WHEN screened_out > 0 THEN format(
            'the page of {}, one of {} screened out, shows the climb before the rate was cut', last_out,
            CASE screened_out WHEN 1 THEN 'one stage' ELSE concat(screened_out, ' stages') END
        )
        WHEN doubtful > 0 THEN format(
            'the page of {}, one of {} with an ISIP or a breakdown of low confidence', first_doubt,
            CASE doubtful WHEN 1 THEN 'one stage' ELSE concat(doubtful, ' stages') END
        )
        WHEN unknown > 0 THEN format(
            'how {} of {} stages ended is not known: the stages table needs depths and designed volumes', unknown, n
        )
        ELSE 'no stage of these wells screened out or has an ISIP or a breakdown of low confidence'
    END AS sentence
FROM counted
