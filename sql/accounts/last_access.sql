-- The newest entry of what happened at the door. Reads access_entry.
SELECT entry_no, at_utc, kind, subject, record, record_sha256, chain_sha256
FROM access_entry
ORDER BY entry_no DESC
LIMIT 1
