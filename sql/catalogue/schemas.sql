-- The schemas of a database. Grain: one row a schema. Reads the engine's own catalogue of $database.
SELECT schema_name AS schema
FROM system.main.duckdb_schemas()
WHERE database_name = $database
