-- The statistical results of one run or reel in assessment $assessment_id. Grain: one row a quantity and what it is of. Reads judged.answer.
SELECT *
FROM judged.answer
WHERE assessment_id = $assessment_id AND subject = $subject
ORDER BY topic, quantity, about, rowid
