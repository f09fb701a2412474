-- Who may sign in to the review site, once a person for good: a name that was given is never given again.
CREATE TABLE IF NOT EXISTS account (
    key TEXT PRIMARY KEY, -- the name without case and outer spaces
    name TEXT NOT NULL, -- the plant's mark of the person, as the journal has it
    role TEXT NOT NULL, -- a role of the plant's sheet; empty for reading only
    password TEXT, -- Argon2id; none until the person has set one
    made_utc TEXT NOT NULL,
    ended_utc TEXT -- none while it stands
) STRICT
