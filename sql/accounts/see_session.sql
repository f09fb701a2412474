-- Notes that a session was used, and what its next page tells.
UPDATE session SET seen_utc = $at_utc, told = $told
WHERE token_sha256 = $token_sha256
