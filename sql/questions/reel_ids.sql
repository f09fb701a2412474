-- Every reel on file, for naming the nearest to one that is not. Grain: one row a reel. Reads judged.reel, judged.current_assessment.
SELECT DISTINCT reel.reel_id
FROM judged.reel AS reel
JOIN judged.current_assessment AS assessment USING (assessment_id)
ORDER BY reel.reel_id
