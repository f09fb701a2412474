-- The log files of load $load_id. Grain: one row a file. Reads logged.file.
SELECT
    load_id, file_no, name, kind, sha256, bytes, rows_read, rows_kept, rows_set_aside
FROM logged.file
WHERE load_id = $load_id
ORDER BY file_no
