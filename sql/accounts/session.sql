-- The session $token_sha256 with its account. Reads session, account.
SELECT
    session.key, session.form_token, session.begun_utc, session.seen_utc, session.told, account.name, account.role,
    account.ended_utc
FROM session
JOIN account USING (key)
WHERE session.token_sha256 = $token_sha256
