-- Look $line_review_id over a line. Grain: no row or one. Reads judged.line_review.
SELECT
    line_review_id, line, product, basis_sha256, assessments, reels, reviewed_utc, software
FROM judged.line_review
WHERE line_review_id = $line_review_id
ORDER BY line_review_id
