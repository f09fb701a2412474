-- The newest judgement of run $run_id with what the run made. Grain: no row or one. Reads judged.current_assessment, logged.current_load.
SELECT
    load.load_id, load.run_id, load.line, load.construction, load.size, load.conductor, load.metal,
    load.line_sheet_sha256, load.run_sheet_sha256, assessment.assessment_id, assessment.outcome, assessment.plant_sheet_sha256,
    assessment.folder AS assessment_folder
FROM judged.current_assessment AS assessment
JOIN logged.current_load AS load USING (load_id, run_id)
WHERE assessment.run_id = $run_id
