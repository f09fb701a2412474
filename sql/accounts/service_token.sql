-- The token $token_sha256 as long as it and its account stand at $at_utc. Reads service_token, account.
SELECT
    service_token.token_sha256, service_token.name, service_token.key, service_token.may, service_token.used_utc,
    account.name AS person, coalesce(account.role, service_token.role) AS role
FROM service_token
LEFT JOIN account USING (key)
WHERE
    service_token.token_sha256 = $token_sha256 AND service_token.ended_utc IS NULL
    AND service_token.until_utc > $at_utc
    AND (service_token.key IS NULL OR (account.key IS NOT NULL AND account.ended_utc IS NULL))
