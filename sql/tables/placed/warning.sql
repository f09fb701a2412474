-- What the reader of a run must be told about its place on the wire. Grain: one row a sentence.
CREATE TABLE IF NOT EXISTS placed.warning (
    assessment_id INTEGER NOT NULL,
    sentence VARCHAR NOT NULL            -- as versions before 12 wrote it; since then see `said`
)
