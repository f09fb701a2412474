-- Sets the password of an account that stands.
UPDATE account SET password = $password
WHERE key = $key AND ended_utc IS NULL
