-- Whether this copy of the store has the table of thinned readings; one published by an earlier version has not. Grain: one row.
SELECT count(*) > 0 AS has_thinnings
FROM duckdb_tables()
WHERE schema_name = 'logged' AND table_name = 'thinning'
