-- What of the files of load $load_id was loaded before and what is new. Grain: one row a file. Reads logged.file_growth.
SELECT
    load_id, file_no, growth, from_load_id, rows_before, kept_before, set_aside_before, rows_new, kept_new,
    set_aside_new, resume_line, clock, passed_over
FROM logged.file_growth
WHERE load_id = $load_id
ORDER BY file_no
