-- Adds an entry to what happened at the door.
INSERT INTO access_entry (entry_no, at_utc, kind, subject, record, record_sha256, chain_sha256)
VALUES ($entry_no, $at_utc, $kind, $subject, $record, $record_sha256, $chain_sha256)
