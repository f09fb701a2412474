-- The first $most journal entries after entry $entry_no, in order. Grain: one row an entry. Reads journal.entry.
SELECT entry_no, at_utc, kind, subject, record, record_sha256, chain_sha256
FROM journal.entry
WHERE entry_no > $entry_no
ORDER BY entry_no
LIMIT $most
