-- What must be told about the place of readings in assessment $assessment_id, along the wire. Grain: one row a sentence. Reads placed.warning.
SELECT
    assessment_id, sentence
FROM placed.warning
WHERE assessment_id = $assessment_id
ORDER BY TRY_CAST(regexp_extract(sentence, '\b(?:at|from) ([0-9.]+) m\b', 1) AS DOUBLE) NULLS LAST, sentence
