-- Runs of which any load, also one since replaced, names material lot $name: by its number or by material and number. Grain: one row a run. Reads logged.material, logged.load.
SELECT DISTINCT
    load.run_id
FROM logged.material AS material
JOIN logged.load AS load USING (load_id)
WHERE
    material.lot = $name
    OR material.material || ' ' || material.lot = $name
    OR ends_with(material.material || ' ' || material.lot, ' ' || $name)
ORDER BY load.run_id
