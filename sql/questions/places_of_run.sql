-- Where every judgement of run $run_id placed its reels, oldest first. Grain: one row an assessment and reel. Reads placed.reel, judged.assessment.
SELECT
    place.run_id, place.assessment_id, assessment.assessed_utc, assessment.load_id, place.reel_id, place.from_m, place.to_m, place.from_counter_m,
    place.to_counter_m
FROM placed.reel AS place
JOIN judged.assessment AS assessment USING (assessment_id)
WHERE place.run_id = $run_id
ORDER BY place.assessment_id, place.reel_no
