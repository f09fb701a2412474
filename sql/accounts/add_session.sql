-- Begins a session.
INSERT INTO session (token_sha256, key, form_token, begun_utc, seen_utc, told)
VALUES ($token_sha256, $key, $form_token, $at_utc, $at_utc, '')
