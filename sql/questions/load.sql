-- Load $load_id. Grain: no row or one. Reads logged.load.
SELECT
    load_id, run_id, content_sha256, run_sheet_sha256, line_sheet_sha256, plant_sheet_sha256, plant,
    line, construction, size, conductor, metal, colour, shift, shift_date, operator_role, note,
    started_utc, ended_utc, rows_read, rows_kept, rows_set_aside, folder, loaded_utc, software, trial
FROM logged.load
WHERE load_id = $load_id
ORDER BY load_id
