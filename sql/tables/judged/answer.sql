-- One statistical result, or its refusal. Grain: one row an assessment, subject, quantity and what it is of.
CREATE TABLE IF NOT EXISTS judged.answer (
    assessment_id INTEGER NOT NULL,
    scope VARCHAR NOT NULL,              -- 'run' or 'reel'
    subject VARCHAR NOT NULL,
    topic VARCHAR NOT NULL,
    quantity VARCHAR NOT NULL,           -- which quantity: a code
    about VARCHAR NOT NULL,              -- of what: id of a limit, channel, element or place; '' where there is one
    arguments VARCHAR NOT NULL,          -- JSON object: arguments of the heading
    estimate DOUBLE,
    low DOUBLE,
    high DOUBLE,
    confidence DOUBLE,
    unit VARCHAR NOT NULL,
    method VARCHAR NOT NULL,             -- JSON message: code and arguments
    n BIGINT NOT NULL,
    effective_n DOUBLE,
    known_m DOUBLE,
    unit_of_inference VARCHAR NOT NULL,
    assumptions VARCHAR NOT NULL,        -- JSON list of {name, held, evidence}, names and evidence messages
    warnings VARCHAR NOT NULL,           -- JSON list of messages
    details VARCHAR NOT NULL,            -- JSON object
    refusal VARCHAR                      -- JSON message why there is no result; NULL where there is one
)
