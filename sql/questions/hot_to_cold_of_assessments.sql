-- Shrinkage that each run of the assessments $assessments tells. Grain: one row a result. Reads judged.answer.
SELECT
    assessment_id, subject, estimate
FROM judged.answer
WHERE quantity = 'hot-to-cold ratio' AND estimate IS NOT NULL AND assessment_id IN (SELECT unnest($assessments))
ORDER BY assessment_id, subject
