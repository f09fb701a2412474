-- Material lots of the loads $loads. Grain: one row a lot. Reads logged.material.
SELECT
    load_id, material, lot, from_m, to_m
FROM logged.material
WHERE load_id IN (SELECT unnest($loads))
ORDER BY load_id, material, lot
