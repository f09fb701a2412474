-- Journal entries of kind $kind, in order. Grain: one row an entry. Reads journal.entry.
SELECT entry_no, at_utc, kind, subject, record, record_sha256, chain_sha256
FROM journal.entry
WHERE kind = $kind
ORDER BY entry_no
