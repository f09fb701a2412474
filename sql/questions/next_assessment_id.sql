-- The number the next assessment gets. Grain: one row. Reads judged.assessment.
SELECT coalesce(max(assessment_id), 0) + 1 AS assessment_id
FROM judged.assessment
