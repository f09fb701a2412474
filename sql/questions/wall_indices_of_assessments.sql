-- Each reel's index of the mean wall in the assessments $assessments, with what its readings are worth. Grain: one row a reel. Reads judged.result.
SELECT
    assessment_id, subject, details
FROM judged.result
WHERE scope = 'reel' AND topic = 'capability' AND refused = ''
    AND question LIKE 'How far does minimum average wall %' AND assessment_id IN (SELECT unnest($assessments))
ORDER BY assessment_id, subject
