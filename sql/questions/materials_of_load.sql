-- Material lots of load $load_id. Grain: one row a lot. Reads logged.material.
SELECT
    load_id, material, lot, from_m, to_m
FROM logged.material
WHERE load_id = $load_id
ORDER BY material, lot, rowid
