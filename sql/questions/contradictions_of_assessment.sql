-- Wire on which the instruments contradict each other in assessment $assessment_id. Grain: one row a stretch. Reads measured.agreement.
SELECT
    assessment_id, from_m, to_m, sentence, said
FROM measured.agreement
WHERE state = 'red' AND assessment_id = $assessment_id
ORDER BY from_m, rowid
