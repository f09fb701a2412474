-- Each reel's index of the mean wall in the assessments $assessments, with what its readings are worth. Grain: one row a reel. Reads judged.answer, judged.limit.
SELECT
    answer.assessment_id, answer.subject, answer.details
FROM judged.answer AS answer
WHERE answer.scope = 'reel' AND answer.quantity = 'performance index' AND answer.refusal IS NULL
    AND answer.assessment_id IN (SELECT unnest($assessments))
    AND (answer.assessment_id, answer.about) IN (
        SELECT bound.assessment_id, bound.limit_id
        FROM judged."limit" AS bound
        WHERE bound.requirement = 'minimum average wall'
    )
ORDER BY answer.assessment_id, answer.subject
