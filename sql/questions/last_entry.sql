-- The newest entry of the journal. Grain: no row or one. Reads journal.entry.
SELECT entry_no, at_utc, kind, subject, record, record_sha256, chain_sha256
FROM journal.entry
ORDER BY entry_no DESC
LIMIT 1
