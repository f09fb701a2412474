-- Readings that were thinned by the plant's rule of retention. Grain: one row a folder of readings; never updated.
CREATE TABLE IF NOT EXISTS logged.thinning (
    of_folder VARCHAR PRIMARY KEY,       -- the folder of full-rate readings, as logged.load or judged.assessment names it
    folder VARCHAR NOT NULL,             -- the folder that stands in its place
    run_id VARCHAR NOT NULL,
    load_id INTEGER NOT NULL,
    step_m DOUBLE NOT NULL,              -- wire a step, of which lowest, highest, mean and number are kept
    rows_before BIGINT NOT NULL,
    rows_kept BIGINT NOT NULL,           -- rows that stay at full rate
    bytes_before BIGINT NOT NULL,
    bytes_kept BIGINT NOT NULL,
    role VARCHAR NOT NULL,               -- who did it
    plant_sheet_sha256 VARCHAR NOT NULL, -- the sheet the rule stands in
    thinned_utc TIMESTAMP NOT NULL,
    entry_no BIGINT NOT NULL             -- the journal entry that keeps this row's hash and those of the files removed
)
