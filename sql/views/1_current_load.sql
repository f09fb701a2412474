-- The newest load of each run. Grain: one row a run. Reads logged.load.
CREATE OR REPLACE VIEW logged.current_load AS
SELECT * REPLACE (replace(metal, 'aluminium', 'aluminum') AS metal) -- older loads spell it so
FROM logged.load
QUALIFY row_number() OVER (PARTITION BY run_id ORDER BY load_id DESC) = 1
