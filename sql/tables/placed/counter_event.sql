-- Resets, reversals, slips and stops of the length counter. Grain: one row an assessment and event.
CREATE TABLE IF NOT EXISTS placed.counter_event (
    assessment_id INTEGER NOT NULL,
    "row" UINTEGER NOT NULL,
    kind VARCHAR NOT NULL,
    at_m DOUBLE NOT NULL,
    size_m DOUBLE NOT NULL,
    sentence VARCHAR NOT NULL            -- as versions before 12 wrote it; since then see `said`
)
