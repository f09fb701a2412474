-- Every load that names lot $lot, oldest first, replaced ones included. Grain: one row a load. Reads logged.material, logged.load.
SELECT DISTINCT load.load_id, load.run_id
FROM logged.material AS material
JOIN logged.load AS load USING (load_id)
WHERE material.lot = $lot
ORDER BY load.load_id
