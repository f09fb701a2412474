-- The newest judgement behind each look over a line. Grain: one row a look. Reads judged.line_review.
SELECT line_review_id, list_max(assessments) AS assessment_id
FROM judged.line_review
ORDER BY line_review_id
