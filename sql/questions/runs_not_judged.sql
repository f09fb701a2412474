-- Runs whose newest load was not judged, with their run sheets. Grain: one row a run. Reads logged.current_load, judged.current_assessment, logged.sheet.
SELECT load.run_id, sheet.text
FROM logged.current_load AS load
LEFT JOIN judged.current_assessment AS assessment USING (load_id)
JOIN logged.sheet AS sheet ON sheet.sha256 = load.run_sheet_sha256
WHERE assessment.assessment_id IS NULL
ORDER BY load.run_id
