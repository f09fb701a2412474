-- Ends an account; its name stays taken and its password is forgotten.
UPDATE account SET ended_utc = $at_utc, password = NULL
WHERE key = $key AND ended_utc IS NULL
