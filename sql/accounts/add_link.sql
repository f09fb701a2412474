-- Adds a link with which a password may be set once.
INSERT INTO link (token_sha256, key, until_utc, used_utc)
VALUES ($token_sha256, $key, $until_utc, NULL)
