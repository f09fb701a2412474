-- Phases of the run, judged at the die and carried along the wire. Grain: one row an assessment and stretch.
CREATE TABLE IF NOT EXISTS placed.phase (
    assessment_id INTEGER NOT NULL,
    from_m DOUBLE NOT NULL,
    to_m DOUBLE NOT NULL,
    phase VARCHAR NOT NULL
)
