-- The newest load of run $run_id, with what a judgement of it stands on; its newest judgement and the plant sheet of that are none before it was judged. Grain: no row or one. Reads logged.current_load, judged.current_assessment.
SELECT
    load.load_id, load.run_id, load.plant, load.line, load.shift_date, load.folder AS load_folder,
    load.plant_sheet_sha256, load.line_sheet_sha256, load.run_sheet_sha256, assessment.assessment_id,
    assessment.plant_sheet_sha256 AS judged_plant_sheet_sha256
FROM logged.current_load AS load
LEFT JOIN judged.current_assessment AS assessment USING (load_id)
WHERE load.run_id = $run_id
ORDER BY load.load_id
