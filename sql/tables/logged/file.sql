-- One log file of a load, with the identity rows_read = rows_kept + rows_set_aside. Grain: one row a file and load.
CREATE TABLE IF NOT EXISTS logged.file (
    load_id INTEGER NOT NULL,
    file_no INTEGER NOT NULL,
    name VARCHAR NOT NULL,
    kind VARCHAR NOT NULL,
    sha256 VARCHAR NOT NULL,
    bytes BIGINT NOT NULL,
    rows_read BIGINT NOT NULL,
    rows_kept BIGINT NOT NULL,
    rows_set_aside BIGINT NOT NULL,
    PRIMARY KEY (load_id, file_no),
    CHECK (rows_read = rows_kept + rows_set_aside)
)
