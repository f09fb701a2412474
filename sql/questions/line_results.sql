-- Results of look $line_review_id over a line. Grain: one row a quantity and what it is of. Reads judged.line_answer.
SELECT
    line_review_id, scope, subject, topic, quantity, about, arguments, estimate, low, high, confidence, unit, method, n,
    effective_n, known_m, unit_of_inference, assumptions, warnings, details, refusal
FROM judged.line_answer
WHERE line_review_id = $line_review_id
ORDER BY scope, subject, topic, quantity, about, rowid
