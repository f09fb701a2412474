-- Versions of the store's tables this file has had. Grain: one row a version.
CREATE TABLE IF NOT EXISTS journal.store_version (
    version INTEGER PRIMARY KEY,
    since_utc TIMESTAMP NOT NULL,
    software VARCHAR NOT NULL
)
