-- Ends every session of an account.
DELETE FROM session
WHERE key = $key
