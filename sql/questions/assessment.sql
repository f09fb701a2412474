-- Assessment $assessment_id. Grain: no row or one. Reads judged.assessment.
SELECT
    assessment_id, run_id, load_id, basis_sha256, plant_sheet_sha256, method_version, software,
    assessed_utc, outcome, reason, made_m, steady_m, on_reels_m, scrap_m, folder, duration_s, said
FROM judged.assessment
WHERE assessment_id = $assessment_id
ORDER BY assessment_id
