-- The newest look over each line and product. Grain: one row a line and product. Reads judged.line_review.
SELECT line_review_id, line, product, basis_sha256, assessments, reels, reviewed_utc, software
FROM judged.line_review
QUALIFY row_number() OVER (PARTITION BY line, product ORDER BY line_review_id DESC) = 1
ORDER BY line, product
