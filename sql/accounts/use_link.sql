-- Marks a link as used, unless it was used or has run out.
UPDATE link SET used_utc = $at_utc
WHERE token_sha256 = $token_sha256 AND used_utc IS NULL AND until_utc > $at_utc
