-- Notes wrong passwords in a row for a name.
INSERT INTO tried (key, wrong, last_utc, locked_until_utc)
VALUES ($key, $wrong, $at_utc, $locked_until_utc)
ON CONFLICT (key) DO UPDATE SET wrong = $wrong, last_utc = $at_utc, locked_until_utc = $locked_until_utc
