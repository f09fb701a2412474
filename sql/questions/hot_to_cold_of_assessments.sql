-- Shrinkage that each run of the assessments $assessments tells. Grain: one row a result. Reads judged.result.
SELECT
    assessment_id, subject, estimate
FROM judged.result
WHERE topic = 'hot to cold' AND estimate IS NOT NULL AND assessment_id IN (SELECT unnest($assessments))
ORDER BY assessment_id, subject
