-- What the newest look over its line says of run $run_id among its like. Grain: one row a quantity and what it is of. Reads judged.line_review and judged.line_answer.
SELECT result.*, result.subject AS run_id
FROM judged.line_answer AS result
WHERE
    result.scope = 'run' AND result.subject = $run_id
    AND result.line_review_id IN (
        SELECT review.line_review_id
        FROM judged.line_review AS review
        QUALIFY row_number() OVER (PARTITION BY review.line, review.product ORDER BY review.line_review_id DESC) = 1
    )
ORDER BY result.line_review_id, result.topic, result.quantity, result.about, result.rowid
