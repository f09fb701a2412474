-- Every judgement of run $run_id, oldest first. Grain: one row an assessment. Reads judged.assessment.
SELECT assessment_id, run_id, load_id, basis_sha256, plant_sheet_sha256, method_version, software, assessed_utc, outcome, reason, said, folder
FROM judged.assessment
WHERE run_id = $run_id
ORDER BY assessment_id
