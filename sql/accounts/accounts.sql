-- Every account, in the order of their names. Reads account.
SELECT key, name, role, password, made_utc, ended_utc
FROM account
ORDER BY key
