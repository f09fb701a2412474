-- What persons decided about findings, reels and cut lengths; a decision is followed by another, never changed. Grain: one row an act; of two persons at once the key lets one through.
CREATE TABLE IF NOT EXISTS journal.act (
    subject VARCHAR NOT NULL,            -- finding, reel or cut length
    version INTEGER NOT NULL,            -- number of the act on its subject, from 1
    about VARCHAR NOT NULL,              -- 'finding', 'reel' or 'length'
    run_id VARCHAR NOT NULL,
    reel_id VARCHAR NOT NULL,
    kind VARCHAR NOT NULL,               -- decide, confirm, decline, complete, reopen
    disposition VARCHAR NOT NULL,        -- rework, repair, regrade, scrap, concession, release
    role VARCHAR NOT NULL,
    person VARCHAR NOT NULL,             -- the plant's own mark, '' where it keeps roles only
    reason VARCHAR NOT NULL,
    evidence VARCHAR NOT NULL,           -- '' for none
    waits BOOLEAN NOT NULL,              -- whether the plant's rule, as it stood then, wants a second person
    plant_sheet_sha256 VARCHAR NOT NULL, -- the sheet that rule stands in
    assessment_id INTEGER NOT NULL,      -- the judgement the person had before them
    from_m DOUBLE,                       -- the finding as it was then; NULL for a reel
    to_m DOUBLE,
    rules VARCHAR[],
    at_utc TIMESTAMP NOT NULL,
    entry_no BIGINT NOT NULL,            -- the journal entry that keeps this row's hash
    PRIMARY KEY (subject, version)
)
