-- What journal entry $entry_no thinned. Grain: one row a folder. Reads logged.thinning.
SELECT
    of_folder, folder, run_id, load_id, step_m, rows_before, rows_kept, bytes_before, bytes_kept, role,
    plant_sheet_sha256, thinned_utc, entry_no
FROM logged.thinning
WHERE entry_no = $entry_no
ORDER BY of_folder
