-- The newest load of run $run_id, with what a judgement of it stands on. Grain: no row or one. Reads logged.current_load.
SELECT
    load_id, run_id, plant, line, shift_date, folder AS load_folder, plant_sheet_sha256, line_sheet_sha256,
    run_sheet_sha256
FROM logged.current_load
WHERE run_id = $run_id
ORDER BY load_id
