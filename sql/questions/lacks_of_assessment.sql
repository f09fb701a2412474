-- What the evidence of each reel lacks in assessment $assessment_id. Grain: one row a reel and thing it lacks. Reads judged.lack.
SELECT assessment_id, reel_id, lack_no, code, about, said
FROM judged.lack
WHERE assessment_id = $assessment_id
ORDER BY reel_id, lack_no
