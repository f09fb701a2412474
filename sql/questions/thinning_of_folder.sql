-- Whether the folder of readings $folder was thinned, and what stands in its place. Grain: no row or one. Reads logged.thinning.
SELECT folder, run_id, load_id, step_m, rows_before, rows_kept, role, thinned_utc
FROM logged.thinning
WHERE of_folder = $folder
