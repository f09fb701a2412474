-- How the instruments agree along the wire in assessment $assessment_id. Grain: one row a stretch. Reads measured.agreement.
SELECT
    assessment_id, from_m, to_m, state, chi2, p, suspect, sentence, said
FROM measured.agreement
WHERE assessment_id = $assessment_id
ORDER BY from_m, rowid
