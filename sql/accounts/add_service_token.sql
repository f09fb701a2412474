-- Adds a token of a service.
INSERT INTO service_token (token_sha256, name, key, role, may, made_utc, until_utc, ended_utc, used_utc)
VALUES ($token_sha256, $name, $key, $role, $may, $at_utc, $until_utc, NULL, NULL)
