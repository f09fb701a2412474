-- Links that let a person set a password, each used once; kept by their SHA-256.
CREATE TABLE IF NOT EXISTS link (
    token_sha256 TEXT PRIMARY KEY,
    key TEXT, -- whose; none for the link of the first start, with which the first account is made
    until_utc TEXT NOT NULL,
    used_utc TEXT
) STRICT
