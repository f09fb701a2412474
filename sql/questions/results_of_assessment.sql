-- Every statistical result of assessment $assessment_id. Grain: one row a subject, quantity and what it is of. Reads judged.answer.
SELECT
    assessment_id, scope, subject, topic, quantity, about, arguments, estimate, low, high, confidence, unit, method, n,
    effective_n, known_m, unit_of_inference, assumptions, warnings, details, refusal
FROM judged.answer
WHERE assessment_id = $assessment_id
ORDER BY scope, subject, topic, quantity, about, rowid
