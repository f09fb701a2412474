-- Every lot on file. Grain: one row a lot and material. Reads logged.material, logged.current_load.
SELECT DISTINCT material.lot, material.material
FROM logged.material AS material
JOIN logged.current_load AS load USING (load_id)
ORDER BY material.lot
