-- Every run on file as judged newest, oldest first; runs that were loaded but not judged have no assessment. Grain: one row a run. Reads logged.current_load, judged.current_assessment.
SELECT
    load.load_id, load.run_id, load.plant, load.line, load.construction, load.size, load.conductor, load.metal,
    load.colour, load.shift, load.shift_date, load.operator_role, load.note, load.started_utc, load.ended_utc,
    load.rows_read, load.rows_kept, load.rows_set_aside, load.folder AS load_folder, load.plant_sheet_sha256,
    load.line_sheet_sha256, load.run_sheet_sha256, assessment.assessment_id, assessment.assessed_utc,
    assessment.software, assessment.outcome, assessment.reason, assessment.said, assessment.made_m, assessment.steady_m,
    assessment.on_reels_m, assessment.scrap_m, assessment.folder AS assessment_folder,
    assessment.plant_sheet_sha256 AS judged_plant_sheet_sha256
FROM logged.current_load AS load
LEFT JOIN judged.current_assessment AS assessment USING (load_id)
ORDER BY load.shift_date, load.started_utc, load.run_id
