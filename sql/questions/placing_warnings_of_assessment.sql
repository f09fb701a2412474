-- What must be told about the place of readings in assessment $assessment_id. Grain: one row a sentence. Reads placed.warning.
SELECT
    assessment_id, sentence
FROM placed.warning
WHERE assessment_id = $assessment_id
ORDER BY sentence
