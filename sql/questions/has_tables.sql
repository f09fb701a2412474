-- Whether this database has a store's tables. Grain: one row.
SELECT count(*) > 0 AS has_tables
FROM information_schema.tables
WHERE table_schema = 'journal' AND table_name = 'store_version'
