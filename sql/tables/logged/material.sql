-- Material lots a run used; from_m and to_m are on the run's length counter, NULL for the whole run. Grain: one row a load and lot.
CREATE TABLE IF NOT EXISTS logged.material (
    load_id INTEGER NOT NULL,
    material VARCHAR NOT NULL,
    lot VARCHAR NOT NULL,
    from_m DOUBLE,
    to_m DOUBLE
)
