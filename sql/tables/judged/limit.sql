-- The limit rows an assessment judged by, as they stood. Grain: one row an assessment and limit.
CREATE TABLE IF NOT EXISTS judged."limit" (
    assessment_id INTEGER NOT NULL,
    limit_id VARCHAR NOT NULL,
    requirement VARCHAR NOT NULL,
    requirement_set VARCHAR NOT NULL,
    sense VARCHAR NOT NULL,
    value DOUBLE NOT NULL,
    unit VARCHAR NOT NULL,
    value_of_record DOUBLE NOT NULL,
    unit_of_record VARCHAR NOT NULL,
    document VARCHAR NOT NULL,
    edition VARCHAR NOT NULL,
    table_or_clause VARCHAR NOT NULL,
    revision VARCHAR NOT NULL,
    effective_from DATE,
    effective_to DATE,
    entered_by VARCHAR NOT NULL,
    checked_by VARCHAR NOT NULL,
    source VARCHAR NOT NULL,
    status VARCHAR NOT NULL
)
