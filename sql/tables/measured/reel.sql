-- Summary of one quantity on one reel. Grain: one row an assessment, reel and quantity.
CREATE TABLE IF NOT EXISTS measured.reel (
    assessment_id INTEGER NOT NULL,
    reel_id VARCHAR NOT NULL,
    quantity VARCHAR NOT NULL,
    unit VARCHAR NOT NULL,
    readings BIGINT NOT NULL,
    steady_readings BIGINT NOT NULL,
    mean DOUBLE,
    sd DOUBLE,
    low DOUBLE,
    low_at_m DOUBLE,
    high DOUBLE,
    high_at_m DOUBLE,
    known_m DOUBLE NOT NULL,
    unknown_m DOUBLE NOT NULL
)
