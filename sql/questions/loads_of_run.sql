-- Every load of run $run_id, oldest first. Grain: one row a load. Reads logged.load.
SELECT run_id, load_id, content_sha256, rows_read, rows_kept, rows_set_aside, folder
FROM logged.load
WHERE run_id = $run_id
ORDER BY load_id
