-- Wrong passwords in a row, by the name that was given, whether or not there is such an account.
CREATE TABLE IF NOT EXISTS tried (
    key TEXT PRIMARY KEY,
    wrong INTEGER NOT NULL,
    last_utc TEXT NOT NULL,
    locked_until_utc TEXT -- none while it is not locked
) STRICT
