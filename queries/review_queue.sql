-- title: Picks most worth a person's minute: doubtful ones that move what rests on them
-- reader: engineer
-- grain: a pick of an ISIP, a breakdown or a mill time not amended or confirmed yet; the first hundred
-- columns:
--   place: place in the queue
--   level: stage or plug
--   number: stage or plug
--   run: coil run that milled the plug; none for a stage
--   pick: name of the pick
--   value: the pick, with its unit
--   confidence: confidence of the pick
--   reason: reason for the confidence
--   doubt [ratio]: 1 for low, 0.4 for medium, 0.1 for high confidence, and up to 0.5 each for distance from its neighbours in the well and from the reported value
--   stands_apart [ratio]: distance from the mean of its formation (mill time: of its coil crew), in standard deviations
--   moves [ratio]: how far it moves that mean, as a share of the mean's 95 % limit
--   score [ratio]: doubt times distance: the order of the queue
--   quarter: quarter of the pick, on the pad's clock
WITH outcome AS (
    SELECT
        well_id, 'stage' AS level, stage AS number, 'isip' AS pick, coalesce(formation, 'not stated') AS family,
        isip_gradient_psi_ft AS x
    FROM compared_stage
    UNION ALL
    SELECT well_id, 'stage', stage, 'breakdown_pressure', coalesce(formation, 'not stated'), breakdown_pressure_psi
    FROM compared_stage
    UNION ALL
    SELECT well_id, 'plug', plug, 'mill_min', coalesce(coil_crew, 'not stated'), mill_min
    FROM plug
),
placed AS (
    SELECT
        *,
        avg(x) OVER family AS mean,
        stddev_samp(x) OVER family AS spread,
        count(x) OVER family AS n,
        avg(x) OVER (
            PARTITION BY well_id, pick ORDER BY number ROWS BETWEEN 2 PRECEDING AND 2 FOLLOWING EXCLUDE CURRENT ROW
        ) AS beside
    FROM outcome
    WHERE x IS NOT NULL
    WINDOW family AS (PARTITION BY pick, family)
),
judged AS (
    SELECT
        k.pad,
        k.well,
        k.well_id,
        g.run,
        k.level,
        k.number,
        k.pick,
        k.quarter,
        said(k.value, k.unit) AS value,
        k.confidence,
        k.reason,
        p.n,
        coalesce(abs(p.x - p.mean) / nullif(p.spread, 0), 0) AS stands_apart,
        CASE k.confidence WHEN 'low' THEN 1.0 WHEN 'medium' THEN 0.4 ELSE 0.1 END
        + least(coalesce(abs(p.x - p.beside) / nullif(p.spread, 0), 0), 3) / 6
        -- readings of one record by different people scatter by about 100 psi
        + least(coalesce(abs(r.difference) / 100, 0), 3) / 6 AS doubt
    FROM placed AS p
    JOIN pick AS k USING (well_id, level, number, pick)
    LEFT JOIN reconciled AS r
        ON r.well_id = k.well_id AND r.stage = k.number AND k.level = 'stage' AND r.measure = concat(k.pick, '_psi')
    LEFT JOIN plug AS g ON g.well_id = k.well_id AND g.plug = k.number AND k.level = 'plug'
    WHERE k.amended_reason IS NULL AND k.value IS NOT NULL
)
SELECT
    row_number() OVER (ORDER BY doubt * (0.2 + stands_apart) DESC, well, level, number, pick) AS place,
    pad,
    well,
    well_id,
    level,
    number,
    run,
    pick,
    value,
    confidence,
    reason,
    doubt,
    stands_apart,
    stands_apart / (1.96 * sqrt(n)) AS moves,
    doubt * (0.2 + stands_apart) AS score,
    quarter
FROM judged
ORDER BY place
LIMIT 100
