-- Lists that persons keep for themselves. Grain: one row an account and name.
CREATE TABLE IF NOT EXISTS view (
    key TEXT NOT NULL,
    name TEXT NOT NULL,
    address TEXT NOT NULL, -- path and query on this site
    PRIMARY KEY (key, name)
) STRICT
