-- Forgets the wrong passwords of a name, and of those last tried before $before_utc.
DELETE FROM tried
WHERE key = $key OR last_utc < $before_utc
