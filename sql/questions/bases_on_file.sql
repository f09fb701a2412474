-- The basis of every judgement on file, whatever the run. Grain: one row a judgement. Reads judged.assessment.
SELECT basis_sha256
FROM judged.assessment
ORDER BY assessment_id
