-- Rows of judged.line_result as a store up to version 8 sealed them, of $line_review_id. Grain: as there. Reads judged.line_result.
SELECT
    line_review_id, scope, subject, topic, question, estimate, low, high, confidence, unit, method, n,
    effective_n, known_m, unit_of_inference, assumptions, warnings, details, refused
FROM judged.line_result
WHERE line_review_id = $line_review_id
ORDER BY scope, subject, topic, question, rowid
