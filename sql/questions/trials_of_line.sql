-- Runs of line $line whose run sheet calls them a trial of settings. Grain: one row a run. Reads logged.current_load, logged.sheet.
SELECT load.run_id
FROM logged.current_load AS load
JOIN logged.sheet AS sheet ON sheet.sha256 = load.run_sheet_sha256
WHERE load.line = $line AND regexp_matches(sheet.text, '(?m)^[ \t]*trial[ \t]*=[ \t]*true[ \t]*(#.*)?$')
ORDER BY load.run_id
