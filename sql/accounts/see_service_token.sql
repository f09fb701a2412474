-- Notes when a token was last used.
UPDATE service_token SET used_utc = $at_utc
WHERE token_sha256 = $token_sha256
