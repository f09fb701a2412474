-- Runs of different lines that share a log of readings, of runs $runs (of all where that is empty), with both run sheets. Grain: one row a run and other. Reads logged.current_load, logged.file, logged.sheet.
WITH read AS (
    SELECT load.run_id, load.plant, load.line, load.run_sheet_sha256, file.sha256
    FROM logged.current_load AS load
    JOIN logged.file AS file USING (load_id)
    WHERE file.kind = 'readings' AND file.rows_kept > 0
)
SELECT DISTINCT mine.run_id, theirs.run_id AS other_id, mine.line, theirs.line AS other_line, sheet.text, other.text AS other_text
FROM read AS mine
JOIN read AS theirs ON theirs.sha256 = mine.sha256 AND (theirs.plant <> mine.plant OR theirs.line <> mine.line)
JOIN logged.sheet AS sheet ON sheet.sha256 = mine.run_sheet_sha256
JOIN logged.sheet AS other ON other.sha256 = theirs.run_sheet_sha256
WHERE len($runs) = 0 OR list_contains($runs, mine.run_id)
ORDER BY mine.run_id, other_id
