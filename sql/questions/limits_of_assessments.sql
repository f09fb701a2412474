-- The limit rows the assessments $assessments judged by. Grain: one row an assessment and limit. Reads judged.limit.
SELECT
    assessment_id, limit_id, requirement, requirement_set, sense, value, unit, value_of_record,
    unit_of_record, document, edition, table_or_clause, revision, effective_from, effective_to,
    entered_by, checked_by, source, status
FROM judged."limit"
WHERE assessment_id IN (SELECT unnest($assessments))
ORDER BY assessment_id, requirement, requirement_set, limit_id
