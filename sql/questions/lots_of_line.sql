-- Material lots of every run of line $line as loaded newest. Grain: one row a run, material and lot. Reads logged.current_load, logged.material.
SELECT load.run_id, material.material, material.lot
FROM logged.current_load AS load
JOIN logged.material AS material USING (load_id)
WHERE load.line = $line
ORDER BY load.run_id, material.material, material.lot
