-- Results of laboratory samples cut from reels, as handed in; a later result is another row. Grain: one row a result; never updated.
CREATE TABLE IF NOT EXISTS journal.sample (
    sample_id VARCHAR PRIMARY KEY,       -- run and number
    run_id VARCHAR NOT NULL,
    reel_id VARCHAR NOT NULL,
    from_outer_m DOUBLE NOT NULL,        -- from the end of the reel that comes off first
    quantity VARCHAR NOT NULL,           -- a column of the data dictionary, or covering_mm
    value DOUBLE NOT NULL,               -- mm or %
    uncertainty DOUBLE,                  -- standard uncertainty; NULL where the laboratory gives none
    measured_by VARCHAR NOT NULL,        -- role of whoever measured
    instrument VARCHAR NOT NULL,         -- '' where none is named
    source VARCHAR NOT NULL,             -- file and line it was read from
    entry_no BIGINT NOT NULL             -- the journal entry that keeps this row's hash
)
