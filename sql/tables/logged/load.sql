-- One load of one run: what was read, from which sheets, and what came of it. Grain: one row a load; never updated.
CREATE TABLE IF NOT EXISTS logged.load (
    load_id INTEGER PRIMARY KEY,
    run_id VARCHAR NOT NULL,
    content_sha256 VARCHAR NOT NULL,     -- over the three sheets and every log file: the same content is loaded once
    run_sheet_sha256 VARCHAR NOT NULL,
    line_sheet_sha256 VARCHAR NOT NULL,
    plant_sheet_sha256 VARCHAR NOT NULL,
    plant VARCHAR NOT NULL,
    line VARCHAR NOT NULL,
    construction VARCHAR NOT NULL,
    size VARCHAR NOT NULL,
    conductor VARCHAR NOT NULL,
    metal VARCHAR NOT NULL,
    colour VARCHAR NOT NULL,
    shift VARCHAR NOT NULL,
    shift_date DATE NOT NULL,            -- the day the shift began, in the plant's zone
    operator_role VARCHAR NOT NULL,
    note VARCHAR NOT NULL,
    started_utc TIMESTAMP NOT NULL,
    ended_utc TIMESTAMP NOT NULL,
    rows_read BIGINT NOT NULL,
    rows_kept BIGINT NOT NULL,
    rows_set_aside BIGINT NOT NULL,
    folder VARCHAR NOT NULL,             -- readings of this load, relative to the store
    loaded_utc TIMESTAMP NOT NULL,
    software VARCHAR NOT NULL
)
