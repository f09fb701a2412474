-- What of a file was loaded before and what is new, and where to go on when it grows; each part keeps the identity. Grain: one row a file and load.
CREATE TABLE IF NOT EXISTS logged.file_growth (
    load_id INTEGER NOT NULL,
    file_no INTEGER NOT NULL,
    growth VARCHAR NOT NULL,             -- against the load before: new, same, grown or changed
    from_load_id INTEGER,                -- the load whose rows were taken over, NULL where the file was read whole
    rows_before BIGINT NOT NULL,         -- rows taken over from that load, of the same bytes
    kept_before BIGINT NOT NULL,
    set_aside_before BIGINT NOT NULL,
    rows_new BIGINT NOT NULL,            -- rows read by this load
    kept_new BIGINT NOT NULL,
    set_aside_new BIGINT NOT NULL,
    resume_line BIGINT NOT NULL,         -- a grown file is read from this line on, 0 for all of it
    clock VARCHAR NOT NULL,              -- UTC or local where every row's time is of that kind, else empty
    passed_over VARCHAR NOT NULL,        -- lines before resume_line whose tag is not mapped, by tag, as JSON
    PRIMARY KEY (load_id, file_no),
    CHECK (rows_before = kept_before + set_aside_before),
    CHECK (rows_new = kept_new + set_aside_new)
)
