-- The limit rows the assessments $assessments judged by. Grain: one row an assessment and limit. Reads judged.limit, every column: stores before version 7 keep no note.
SELECT *
FROM judged."limit"
WHERE assessment_id IN (SELECT unnest($assessments))
ORDER BY assessment_id, requirement, requirement_set, limit_id
