-- The basis of the newest judgement of each run's newest load. Grain: one row a run that was judged. Reads judged.current_assessment.
SELECT basis_sha256
FROM judged.current_assessment
ORDER BY assessment_id
