-- The account of $key; no row where there is none. Reads account.
SELECT key, name, role, password, made_utc, ended_utc
FROM account
WHERE key = $key
