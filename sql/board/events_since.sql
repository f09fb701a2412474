-- What happened after entry $entry_no, newest first. Reads event.
SELECT entry_no, at_utc, kind, subject, role, person, told
FROM event
WHERE entry_no > $entry_no
ORDER BY entry_no DESC
LIMIT $most
