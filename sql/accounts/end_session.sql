-- Ends a session.
DELETE FROM session
WHERE token_sha256 = $token_sha256
