-- What a name of a table can find in a database: its tables and its views. Grain: one row each. Reads the engine's own catalogue of $database.
SELECT schema_name AS schema, table_name AS name, 'table' AS kind, sql ILIKE '%generated always%' AS is_computed
FROM system.main.duckdb_tables()
WHERE database_name = $database
UNION ALL
SELECT schema_name, view_name, 'view', false
FROM system.main.duckdb_views()
WHERE database_name = $database AND NOT internal
ORDER BY 1, 2
