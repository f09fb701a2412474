-- What every reel of line $line and its product did, as judged newest, runs from $from_utc to before $to_utc: level and spread of the wall, and thinnest point. Grain: one row a reel. Reads logged.current_load, judged.current_assessment, placed.reel, measured.reel.
WITH chosen AS (
    SELECT
        load.run_id, load.construction, load.size, load.conductor, load.metal, load.started_utc,
        load.ended_utc, assessment.assessment_id, assessment.made_m
    FROM logged.current_load AS load
    JOIN judged.current_assessment AS assessment USING (load_id)
    WHERE load.line = $line
        AND assessment.outcome = 'judged'
        AND load.started_utc >= $from_utc
        AND load.started_utc < $to_utc
),
reels AS (
    SELECT chosen.*, place.reel_id, place.from_m, place.to_m
    FROM chosen
    JOIN placed.reel AS place USING (assessment_id)
)
SELECT
    reels.run_id, reels.assessment_id, reels.construction, reels.size, reels.conductor, reels.metal, reels.reel_id,
    reels.started_utc, reels.ended_utc, reels.made_m, reels.from_m, reels.to_m,
    mean.mean AS mean_wall_mm, mean.sd AS wall_sd_mm, thin.mean AS thinnest_mm, thin.low AS lowest_mm
FROM reels
JOIN measured.reel AS mean
    ON mean.assessment_id = reels.assessment_id
    AND mean.reel_id = reels.reel_id
    AND mean.quantity = 'mean_wall_mm'
LEFT JOIN measured.reel AS thin
    ON thin.assessment_id = reels.assessment_id
    AND thin.reel_id = reels.reel_id
    AND thin.quantity = 'thinnest_wall_mm'
WHERE mean.mean IS NOT NULL AND mean.sd IS NOT NULL
ORDER BY reels.started_utc, reels.run_id, reels.from_m
