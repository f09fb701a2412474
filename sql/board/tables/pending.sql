-- Decisions that are not done: they await a second person, or their completion. Grain: one row a finding, reel or length.
CREATE TABLE IF NOT EXISTS pending (
    subject TEXT PRIMARY KEY,
    about TEXT NOT NULL, -- finding, reel or length
    run_id TEXT NOT NULL,
    reel_id TEXT NOT NULL,
    standing TEXT NOT NULL, -- awaiting a second person, or decided
    disposition TEXT NOT NULL,
    role TEXT NOT NULL, -- of whoever decided
    person TEXT NOT NULL
) STRICT
