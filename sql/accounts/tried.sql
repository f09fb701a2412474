-- Wrong passwords in a row for the name $key. Reads tried.
SELECT wrong, last_utc, locked_until_utc
FROM tried
WHERE key = $key
