-- The statistical results of one run or reel in assessment $assessment_id. Grain: one row a question. Reads judged.result.
SELECT *
FROM judged.result
WHERE assessment_id = $assessment_id AND subject = $subject
ORDER BY topic, question
