-- Reels that the newest judgements of several runs have, small and capital letters alike. Grain: one row a reel and run. Reads judged.reel, judged.current_assessment.
WITH judged AS (
    SELECT reel.reel_id, assessment.run_id
    FROM judged.reel AS reel
    JOIN judged.current_assessment AS assessment USING (assessment_id)
)
SELECT judged.reel_id, judged.run_id
FROM judged
QUALIFY count(*) OVER (PARTITION BY lower(judged.reel_id)) > 1
ORDER BY judged.reel_id, judged.run_id
