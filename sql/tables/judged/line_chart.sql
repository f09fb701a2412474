-- As stores up to version 8 wrote it: sealed, so kept as it is; judged.control_chart has the same by keys.
CREATE TABLE IF NOT EXISTS judged.line_chart (
    line_review_id INTEGER NOT NULL,
    chart_no INTEGER NOT NULL,
    title VARCHAR NOT NULL,
    quantity VARCHAR NOT NULL,
    family VARCHAR NOT NULL,
    method VARCHAR NOT NULL,
    phase VARCHAR NOT NULL,              -- 'I' while the limits come from these points, 'II' while they are fixed
    question VARCHAR NOT NULL,
    unit VARCHAR NOT NULL,
    arl0 DOUBLE,                         -- points from one false alarm to the next; NULL if not computed
    unit_of_inference VARCHAR NOT NULL,
    assumptions VARCHAR NOT NULL,        -- JSON list of {name, held, evidence}
    warnings VARCHAR[] NOT NULL,
    details VARCHAR NOT NULL,            -- JSON object
    budget VARCHAR NOT NULL              -- the alarm budget the limits keep to, in words
)
