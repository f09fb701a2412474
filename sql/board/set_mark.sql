-- Note how far the board has followed the journal.
INSERT INTO mark (one, entry_no, chain_sha256, layout)
VALUES (1, $entry_no, $chain_sha256, $layout)
ON CONFLICT (one) DO UPDATE SET entry_no = excluded.entry_no, chain_sha256 = excluded.chain_sha256, layout = excluded.layout
