-- Results on one of $topics about the run as a whole in assessment $assessment_id. Grain: one row a quantity and what it is of. Reads judged.answer.
SELECT
    assessment_id, scope, subject, topic, quantity, about, arguments, estimate, low, high, confidence, unit, method, n,
    effective_n, known_m, unit_of_inference, assumptions, warnings, details, refusal
FROM judged.answer
WHERE scope = 'run' AND topic IN (SELECT unnest($topics)) AND assessment_id = $assessment_id
ORDER BY subject, topic, quantity, about, rowid
