-- The journal: every load, assessment and decision, each entry chained to the one before. Grain: one row an entry; never updated.
CREATE TABLE IF NOT EXISTS journal.entry (
    entry_no BIGINT PRIMARY KEY,
    at_utc TIMESTAMP NOT NULL,
    kind VARCHAR NOT NULL,
    subject VARCHAR NOT NULL,
    record VARCHAR NOT NULL,             -- RFC 8785 canonical JSON
    record_sha256 VARCHAR NOT NULL,
    chain_sha256 VARCHAR NOT NULL
)
