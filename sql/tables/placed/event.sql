-- Spark faults and surface flaws on the wire. Grain: one row an assessment and logged event.
CREATE TABLE IF NOT EXISTS placed.event (
    assessment_id INTEGER NOT NULL,
    event INTEGER NOT NULL,
    fault INTEGER NOT NULL,              -- events of one number are counts of one fault
    kind VARCHAR NOT NULL,
    at_m DOUBLE NOT NULL,
    at_sd_m DOUBLE NOT NULL,
    time_utc TIMESTAMP,
    spark_kv DOUBLE,
    flaw_size_mm DOUBLE,
    flaw_class VARCHAR,
    file_no INTEGER NOT NULL,
    line BIGINT NOT NULL
)
