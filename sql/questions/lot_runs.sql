-- Every run that used lot $lot, in its newest load. Grain: one row a run and material. Reads logged.material, logged.current_load.
SELECT material.material, material.from_m, material.to_m, load.run_id, load.load_id, load.line, load.construction,
    load.size, load.shift, load.shift_date, load.started_utc, load.ended_utc
FROM logged.material AS material
JOIN logged.current_load AS load USING (load_id)
WHERE material.lot = $lot
ORDER BY load.started_utc, material.material
