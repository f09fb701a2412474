-- What the journal keeps, but for what each judgement says of every reel. Grain: one row an entry.
CREATE TABLE IF NOT EXISTS event (
    entry_no INTEGER PRIMARY KEY,
    at_utc TEXT NOT NULL,
    kind TEXT NOT NULL,
    subject TEXT NOT NULL,
    role TEXT NOT NULL, -- empty where nobody acted
    person TEXT NOT NULL,
    told TEXT NOT NULL, -- a message as JSON
    mention TEXT NOT NULL, -- role or person that a comment is for; empty for none
    find TEXT NOT NULL
) STRICT
