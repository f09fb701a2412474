-- The newest version of the store's tables in this database. Grain: one row. Reads journal.store_version.
SELECT max(version) AS version
FROM journal.store_version
