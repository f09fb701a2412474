-- Runs of line $line that the run sheet calls a trial, or may: loads before version 13 have the text alone to tell. Grain: one row a run. Reads logged.current_load, logged.sheet.
SELECT load.run_id, load.trial, CASE WHEN load.trial IS NULL THEN sheet.text END AS text
FROM logged.current_load AS load
JOIN logged.sheet AS sheet ON sheet.sha256 = load.run_sheet_sha256
WHERE load.line = $line AND coalesce(load.trial, TRUE)
ORDER BY load.run_id
