-- The number the next load gets. Grain: one row. Reads logged.load.
SELECT coalesce(max(load_id), 0) + 1 AS load_id
FROM logged.load
