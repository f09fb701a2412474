-- Limits that judgements were made by. Grain: one row an assessment and limit. Reads judged.limit.
SELECT assessment_id, limit_id, requirement, sense, value, unit
FROM judged."limit"
ORDER BY assessment_id, requirement, requirement_set, limit_id
