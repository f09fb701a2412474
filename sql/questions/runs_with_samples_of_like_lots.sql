-- Other runs with a sample on file whose newest load names a material lot that the newest load of run $run_id names too, however its case and spaces are typed. Grain: one row a run. Reads journal.sample, logged.material, logged.current_load.
WITH lots AS (
    SELECT load.run_id, material.material, lower(replace(material.lot, ' ', '')) AS lot
    FROM logged.material AS material
    JOIN logged.current_load AS load USING (load_id)
)
SELECT DISTINCT mine.run_id, theirs.run_id AS other_id
FROM lots AS mine
JOIN lots AS theirs USING (material, lot)
WHERE mine.run_id = $run_id
    AND theirs.run_id <> mine.run_id
    AND theirs.run_id IN (SELECT run_id FROM journal.sample)
ORDER BY mine.run_id, other_id
