-- Every folder of readings that was thinned, and what stands in its place. Grain: one row a folder. Reads logged.thinning.
SELECT of_folder, folder, run_id, load_id, step_m, rows_before, rows_kept, role, thinned_utc
FROM logged.thinning
ORDER BY of_folder
