-- Adds an account without a password.
INSERT INTO account (key, name, role, password, made_utc, ended_utc)
VALUES ($key, $name, $role, NULL, $at_utc, NULL)
