-- The number the next look over a line gets. Grain: one row. Reads judged.line_review.
SELECT coalesce(max(line_review_id), 0) + 1 AS line_review_id
FROM judged.line_review
