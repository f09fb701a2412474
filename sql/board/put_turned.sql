-- Note that a reel came to stand otherwise.
INSERT OR REPLACE INTO turned (reel_id, entry_no, was, now) VALUES ($reel_id, $entry_no, $was, $now)
