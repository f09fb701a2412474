-- Rows of judged.result as a store up to version 8 sealed them, of $assessment_id. Grain: as there. Reads judged.result.
SELECT
    assessment_id, scope, subject, topic, question, estimate, low, high, confidence, unit, method, n,
    effective_n, known_m, unit_of_inference, assumptions, warnings, details, refused
FROM judged.result
WHERE assessment_id = $assessment_id
ORDER BY scope, subject, topic, question, rowid
