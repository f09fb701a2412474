-- Results about whole runs in the assessments $assessments. Grain: one row a run and question. Reads judged.result.
SELECT
    assessment_id, scope, subject, topic, question, estimate, low, high, confidence, unit, method, n,
    effective_n, known_m, unit_of_inference, assumptions, warnings, details, refused
FROM judged.result
WHERE scope = 'run' AND list_contains($assessments, assessment_id)
ORDER BY assessment_id, subject, topic, question
