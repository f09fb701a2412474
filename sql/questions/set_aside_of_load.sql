-- The lines of load $load_id that were set aside, at most $most. Grain: one row a line. Reads logged.set_aside.
SELECT
    load_id, file_no, line, reason, said, text
FROM logged.set_aside
WHERE load_id = $load_id
ORDER BY file_no, line
LIMIT $most
