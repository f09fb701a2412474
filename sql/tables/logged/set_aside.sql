-- A line that could not be kept as a reading, with the reason and its text. Grain: one row a line set aside.
CREATE TABLE IF NOT EXISTS logged.set_aside (
    load_id INTEGER NOT NULL,
    file_no INTEGER NOT NULL,
    line BIGINT NOT NULL,
    reason VARCHAR NOT NULL,             -- as versions before 15 wrote it; since then see `said`
    text VARCHAR NOT NULL
)
