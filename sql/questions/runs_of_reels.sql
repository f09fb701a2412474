-- Of the numbers $reels (in small letters), those that are reels, with the run of each by its newest judgement. Grain: one row a reel and run. Reads judged.reel, judged.current_assessment.
SELECT reel.reel_id, assessment.run_id
FROM judged.reel AS reel
JOIN judged.current_assessment AS assessment USING (assessment_id)
WHERE list_contains($reels, lower(reel.reel_id))
ORDER BY reel.reel_id, assessment.run_id
