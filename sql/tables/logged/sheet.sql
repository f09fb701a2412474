-- The text of every sheet a load or a judgement stood on, by its hash. Grain: one row a text.
CREATE TABLE IF NOT EXISTS logged.sheet (
    sha256 VARCHAR PRIMARY KEY,
    kind VARCHAR NOT NULL,
    name VARCHAR NOT NULL,
    text VARCHAR NOT NULL
)
