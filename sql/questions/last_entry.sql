-- The newest entry of the journal. Grain: no row or one. Reads journal.entry.
SELECT entry_no, chain_sha256
FROM journal.entry
ORDER BY entry_no DESC
LIMIT 1
