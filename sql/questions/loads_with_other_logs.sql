-- Loads of run $run_id that brought a log which is not an earlier one grown. Grain: one row a load. Reads logged.file_growth, logged.load.
SELECT DISTINCT load.load_id
FROM logged.file_growth AS growth
JOIN logged.load AS load USING (load_id)
WHERE load.run_id = $run_id AND growth.growth IN ('changed', 'new')
ORDER BY load.load_id
