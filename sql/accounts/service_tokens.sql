-- Every token of a service, oldest first, with the account in whose name it acts. Reads service_token, account.
SELECT
    service_token.token_sha256, service_token.name, service_token.key, service_token.may, service_token.made_utc,
    service_token.until_utc, service_token.ended_utc, service_token.used_utc, account.name AS person,
    coalesce(account.role, service_token.role) AS role, account.ended_utc AS account_ended_utc
FROM service_token
LEFT JOIN account USING (key)
ORDER BY service_token.made_utc, service_token.token_sha256
