-- One look over all reels of one line and product: charts and components of variance. Grain: one row a look; never updated.
CREATE TABLE IF NOT EXISTS judged.line_review (
    line_review_id INTEGER PRIMARY KEY,
    line VARCHAR NOT NULL,
    product VARCHAR NOT NULL,
    basis_sha256 VARCHAR NOT NULL,       -- over the assessments it stands on: the same basis is looked at once
    assessments INTEGER[] NOT NULL,
    reels INTEGER NOT NULL,
    reviewed_utc TIMESTAMP NOT NULL,
    software VARCHAR NOT NULL
)
