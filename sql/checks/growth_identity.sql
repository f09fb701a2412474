-- Stop: files whose rows before and new rows are not the rows of the file, or whose rows before are not of a load on file. Grain: one row a file; must be empty.
SELECT file.load_id, file.file_no, file.rows_read, growth.rows_before, growth.rows_new
FROM logged.file AS file
JOIN logged.file_growth AS growth ON growth.load_id = file.load_id AND growth.file_no = file.file_no
LEFT JOIN logged.load AS before ON before.load_id = growth.from_load_id
WHERE file.rows_read <> growth.rows_before + growth.rows_new
    OR file.rows_kept <> growth.kept_before + growth.kept_new
    OR file.rows_set_aside <> growth.set_aside_before + growth.set_aside_new
    OR (growth.rows_before > 0 AND (before.load_id IS NULL OR before.load_id >= file.load_id))
