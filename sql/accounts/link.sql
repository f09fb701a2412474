-- The link $token_sha256 if it may still be used. Reads link.
SELECT key, until_utc
FROM link
WHERE token_sha256 = $token_sha256 AND used_utc IS NULL AND until_utc > $at_utc
