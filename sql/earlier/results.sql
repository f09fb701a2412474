-- Every answer as stores up to version 8 wrote it, in the order it was put on file. Grain: one row an answer. Reads judged.result.
SELECT
    assessment_id, scope, subject, topic, question, estimate, low, high, confidence, unit, method, n,
    effective_n, known_m, unit_of_inference, assumptions, warnings, details, refused
FROM judged.result
ORDER BY rowid
