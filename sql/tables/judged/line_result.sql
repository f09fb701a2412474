-- As stores up to version 8 wrote it: sealed, so kept as it is; judged.line_answer has the same by keys.
CREATE TABLE IF NOT EXISTS judged.line_result (
    line_review_id INTEGER NOT NULL,
    scope VARCHAR NOT NULL,              -- 'line', or 'run' for a run among its like
    subject VARCHAR NOT NULL,
    topic VARCHAR NOT NULL,
    question VARCHAR NOT NULL,
    estimate DOUBLE,
    low DOUBLE,
    high DOUBLE,
    confidence DOUBLE,
    unit VARCHAR NOT NULL,
    method VARCHAR NOT NULL,
    n BIGINT NOT NULL,
    effective_n DOUBLE,
    known_m DOUBLE,
    unit_of_inference VARCHAR NOT NULL,
    assumptions VARCHAR NOT NULL,        -- JSON list of {name, held, evidence}
    warnings VARCHAR[] NOT NULL,
    details VARCHAR NOT NULL,            -- JSON object
    refused VARCHAR NOT NULL             -- '' or the reason why there is no result
)
