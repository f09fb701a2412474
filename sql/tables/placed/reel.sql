-- Where each reel lies on the wire of its run. Grain: one row an assessment and reel.
CREATE TABLE IF NOT EXISTS placed.reel (
    assessment_id INTEGER NOT NULL,
    run_id VARCHAR NOT NULL,
    reel_id VARCHAR NOT NULL,
    reel_no INTEGER NOT NULL,
    from_m DOUBLE NOT NULL,              -- on the wire, from the first metre made in the run
    to_m DOUBLE NOT NULL,
    from_counter_m DOUBLE NOT NULL,      -- as the run sheet gives it
    to_counter_m DOUBLE NOT NULL,
    PRIMARY KEY (assessment_id, reel_id)
)
