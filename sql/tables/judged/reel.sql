-- What may leave: one reel's standing on the evidence. Grain: one row an assessment and reel.
CREATE TABLE IF NOT EXISTS judged.reel (
    assessment_id INTEGER NOT NULL,
    run_id VARCHAR NOT NULL,
    reel_id VARCHAR NOT NULL,
    standing VARCHAR NOT NULL,           -- 'releasable', 'held' or 'no conclusion'
    reasons VARCHAR[] NOT NULL,          -- sentences as versions before 11 wrote them; since then see judged.lack and `held_by`
    first_action VARCHAR NOT NULL,       -- as versions before 11 wrote it; since then see `first_said`
    length_m DOUBLE NOT NULL,
    steady_m DOUBLE NOT NULL,
    wall_unmonitored_m DOUBLE NOT NULL,
    diameter_unmonitored_m DOUBLE NOT NULL,
    spark_untested_m DOUBLE NOT NULL,
    spark_faults INTEGER NOT NULL,
    spark_counts INTEGER NOT NULL,
    surface_flaws INTEGER NOT NULL,
    thinnest_wall_mm DOUBLE,
    thinnest_wall_at_m DOUBLE,
    mean_wall_mm DOUBLE,
    concentricity_low_pct DOUBLE,
    findings INTEGER NOT NULL,
    PRIMARY KEY (assessment_id, reel_id)
)
