-- How far the board has followed the journal. Reads mark.
SELECT entry_no, chain_sha256, layout FROM mark
