-- What services send with each request, kept by its SHA-256; rows are ended and never removed.
CREATE TABLE IF NOT EXISTS service_token (
    token_sha256 TEXT PRIMARY KEY,
    name TEXT NOT NULL, -- of the service
    key TEXT, -- of the account in whose name it acts; none for a service that acts in its own
    role TEXT NOT NULL, -- of a service that acts in its own name; empty for reading only, and where the account has it
    may TEXT NOT NULL, -- the acts it was made for, one a line; empty for reading only
    made_utc TEXT NOT NULL,
    until_utc TEXT NOT NULL,
    ended_utc TEXT, -- none while it stands
    used_utc TEXT -- when it was last seen, to the hour; none before it was used
) STRICT
