-- A point of a control chart and the reel and reading that made it. Grain: one row a look, chart and point.
CREATE TABLE IF NOT EXISTS judged.line_point (
    line_review_id INTEGER NOT NULL,
    chart_no INTEGER NOT NULL,
    item INTEGER NOT NULL,
    run_id VARCHAR NOT NULL,
    reel_id VARCHAR NOT NULL,
    at_m DOUBLE,                         -- place of the reading on the wire, NULL where the point is no one reading's
    value DOUBLE,
    centre DOUBLE NOT NULL,
    lower_limit DOUBLE,                  -- NULL where there is none
    upper_limit DOUBLE,
    rule VARCHAR NOT NULL,               -- as versions before 15 wrote it; since then see `said`
    since_item INTEGER                   -- first point that took part in the signal, NULL without one
)
