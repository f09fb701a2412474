-- A nonconforming or unproved length on the wire. Grain: one row an assessment and finding; finding_id stays with the defect.
CREATE TABLE IF NOT EXISTS judged.finding (
    assessment_id INTEGER NOT NULL,
    finding_id VARCHAR NOT NULL,
    run_id VARCHAR NOT NULL,
    reel_id VARCHAR NOT NULL,            -- '' for wire on no reel
    number INTEGER NOT NULL,             -- number within the run; a defect keeps it when the run is judged again
    rule VARCHAR NOT NULL,
    rules VARCHAR[] NOT NULL,            -- every rule broken there, this one included
    requirement VARCHAR NOT NULL,
    families VARCHAR[] NOT NULL,         -- kinds of defect seen there
    subject VARCHAR NOT NULL,            -- what a finding without a place is about
    severity VARCHAR NOT NULL,
    holds_release BOOLEAN NOT NULL,
    verdict VARCHAR NOT NULL,
    confirmed BOOLEAN NOT NULL,
    from_m DOUBLE NOT NULL,
    to_m DOUBLE NOT NULL,
    from_core_m DOUBLE,                  -- from the reel's inner end
    to_core_m DOUBLE,
    evidence_from_m DOUBLE NOT NULL,
    evidence_to_m DOUBLE NOT NULL,
    worst DOUBLE,
    worst_at_m DOUBLE,
    unit VARCHAR NOT NULL,
    limit_value DOUBLE,
    limit_id VARCHAR NOT NULL,
    limit_revision VARCHAR NOT NULL,
    angle_deg DOUBLE,
    readings INTEGER NOT NULL,
    instruments VARCHAR NOT NULL,
    cause VARCHAR NOT NULL,
    cause_of VARCHAR NOT NULL,           -- which roll, instrument, lot change or phase, '' where it cannot be named
    cause_sentence VARCHAR NOT NULL,     -- sentences as versions before 10 wrote them; '' since, see `said` and `cause_said`
    sentence VARCHAR NOT NULL,
    advice VARCHAR NOT NULL,
    "row" UINTEGER,                      -- the worst reading, and the log line it stands on
    file_no INTEGER,
    line BIGINT,
    PRIMARY KEY (assessment_id, finding_id)
)
