-- The chain of the journal up to entry $entry_no. Grain: no row or one. Reads journal.entry.
SELECT chain_sha256
FROM journal.entry
WHERE entry_no = $entry_no
