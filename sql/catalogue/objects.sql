-- Everything a database holds beside rows, that a statement could find by name. Grain: one row an object. Reads the engine's own catalogue of $database; names in full, so that no macro of the file can stand in for it.
SELECT schema_name AS schema, table_name AS name, 'table' AS kind
FROM system.main.duckdb_tables()
WHERE database_name = $database
UNION ALL
SELECT schema_name, view_name, 'view'
FROM system.main.duckdb_views()
WHERE database_name = $database AND NOT internal
UNION ALL
SELECT schema_name, function_name, 'macro'
FROM system.main.duckdb_functions()
WHERE database_name = $database AND NOT internal
UNION ALL
SELECT schema_name, type_name, 'type'
FROM system.main.duckdb_types()
WHERE database_name = $database AND NOT internal
UNION ALL
SELECT schema_name, sequence_name, 'sequence'
FROM system.main.duckdb_sequences()
WHERE database_name = $database
UNION ALL
SELECT schema_name, index_name, 'index'
FROM system.main.duckdb_indexes()
WHERE database_name = $database
UNION ALL
SELECT schema_name, trigger_name, 'trigger'
FROM system.main.duckdb_triggers()
WHERE database_name = $database
ORDER BY 1, 2, 3
