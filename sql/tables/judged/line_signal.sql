-- A point of a control chart that calls for a look, with the reel that made it. Grain: one row a look, chart and signal.
CREATE TABLE IF NOT EXISTS judged.line_signal (
    line_review_id INTEGER NOT NULL,
    quantity VARCHAR NOT NULL,
    chart VARCHAR NOT NULL,
    phase VARCHAR NOT NULL,
    reel_id VARCHAR NOT NULL,
    run_id VARCHAR NOT NULL,
    value DOUBLE NOT NULL,
    limit_value DOUBLE NOT NULL,
    side VARCHAR NOT NULL,
    rule VARCHAR NOT NULL,               -- as versions before 15 wrote it; since then see `said`
    since_reel_id VARCHAR NOT NULL
)
