-- Stop: files where rows read are not rows kept plus rows set aside, or whose lines set aside are not on file. Grain: one row a file; must be empty.
SELECT file.load_id, file.file_no, file.rows_read, file.rows_kept, file.rows_set_aside
FROM logged.file AS file
LEFT JOIN (
    SELECT load_id, file_no, count(*) AS lines
    FROM logged.set_aside
    GROUP BY load_id, file_no
) AS aside ON aside.load_id = file.load_id AND aside.file_no = file.file_no
WHERE file.rows_read <> file.rows_kept + file.rows_set_aside
    OR file.rows_set_aside <> coalesce(aside.lines, 0)
