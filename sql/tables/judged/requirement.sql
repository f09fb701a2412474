-- One requirement judged on one reel. Grain: one row an assessment, reel, requirement and limit (limit_id '' where none is on file).
CREATE TABLE IF NOT EXISTS judged.requirement (
    assessment_id INTEGER NOT NULL,
    run_id VARCHAR NOT NULL,
    reel_id VARCHAR NOT NULL,
    requirement VARCHAR NOT NULL,
    requirement_set VARCHAR NOT NULL,
    limit_id VARCHAR NOT NULL,
    sense VARCHAR NOT NULL,
    limit_value DOUBLE,
    unit VARCHAR NOT NULL,
    worst DOUBLE,
    worst_at_m DOUBLE,
    uncertainty DOUBLE,
    decision_rule VARCHAR NOT NULL,      -- as versions before 15 wrote it; since then see `decided_by`
    verdict VARCHAR NOT NULL,            -- conforms, does not conform, indeterminate, not judged, no conclusion
    sentence VARCHAR NOT NULL,           -- as versions before 11 wrote it; since then see `said`
    nonconforming_m DOUBLE NOT NULL,
    known_m DOUBLE NOT NULL,
    unknown_m DOUBLE NOT NULL
)
