-- What happened at the door of the review site, each entry chained to the one before; rows are only added.
CREATE TABLE IF NOT EXISTS access_entry (
    entry_no INTEGER PRIMARY KEY,
    at_utc TEXT NOT NULL,
    kind TEXT NOT NULL,
    subject TEXT NOT NULL,
    record TEXT NOT NULL, -- canonical JSON
    record_sha256 TEXT NOT NULL,
    chain_sha256 TEXT NOT NULL
) STRICT
