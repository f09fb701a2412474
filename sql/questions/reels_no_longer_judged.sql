-- Of the reels $reels, those that a judgement knew and the newest judgement of the newest load does not know. Grain: one row a reel. Reads judged.reel, judged.assessment, judged.current_assessment.
SELECT
    reel.reel_id,
    max_by(assessment.run_id, assessment.assessment_id) AS run_id,
    max_by(newest.run_id IS NOT NULL, assessment.assessment_id) AS run_is_judged
FROM judged.reel AS reel
JOIN judged.assessment AS assessment USING (assessment_id)
LEFT JOIN judged.current_assessment AS newest ON newest.run_id = assessment.run_id
WHERE list_contains($reels, reel.reel_id)
GROUP BY reel.reel_id
HAVING NOT bool_or(coalesce(assessment.assessment_id = newest.assessment_id, false))
ORDER BY reel.reel_id
