-- What the reader of a run must be told about its logs. Grain: one row a sentence.
CREATE TABLE IF NOT EXISTS logged.warning (
    load_id INTEGER NOT NULL,
    sentence VARCHAR NOT NULL            -- as versions before 13 wrote it; since then see `said`
)
