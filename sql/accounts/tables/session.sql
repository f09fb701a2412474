-- Who is signed in; kept by the SHA-256 of what the browser has.
CREATE TABLE IF NOT EXISTS session (
    token_sha256 TEXT PRIMARY KEY,
    key TEXT NOT NULL,
    form_token TEXT NOT NULL, -- what each form of this session must carry
    begun_utc TEXT NOT NULL,
    seen_utc TEXT NOT NULL,
    told TEXT NOT NULL -- what the next page tells once; empty for nothing
) STRICT
