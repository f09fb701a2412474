-- What must be told about the place of readings in assessment $assessment_id, along the wire. Grain: one row a thing told. Reads placed.warning.
SELECT
    assessment_id, at_m, sentence, said
FROM placed.warning
WHERE assessment_id = $assessment_id
ORDER BY at_m NULLS LAST, rowid
