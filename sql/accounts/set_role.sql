-- Gives an account that stands another role.
UPDATE account SET role = $role
WHERE key = $key AND ended_utc IS NULL
