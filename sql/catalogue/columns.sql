-- The columns of every table of a database. Grain: one row a column. Reads the engine's own catalogue of $database.
SELECT
    schema_name AS schema,
    table_name AS name,
    column_name AS column,
    data_type,
    is_nullable AS may_be_null,
    column_default AS standard_value,
    is_generated AS is_computed
FROM system.main.duckdb_columns()
WHERE database_name = $database AND NOT internal
ORDER BY 1, 2, 3
