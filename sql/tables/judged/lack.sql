-- What the evidence of a reel lacks: why it is not releasable though no finding holds it. Grain: one row an assessment, reel and thing it lacks.
CREATE TABLE IF NOT EXISTS judged.lack (
    assessment_id INTEGER NOT NULL,
    reel_id VARCHAR NOT NULL,
    lack_no INTEGER NOT NULL,            -- in the order they are told, from 0
    code VARCHAR NOT NULL,               -- what is lacking
    about VARCHAR NOT NULL,              -- of what: a limit, a requirement, a type, a file; '' where there is one
    said VARCHAR NOT NULL,               -- JSON message: code and arguments
    PRIMARY KEY (assessment_id, reel_id, lack_no)
)
