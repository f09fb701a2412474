-- How far the board has followed the store's journal. Grain: one row at the most.
CREATE TABLE IF NOT EXISTS mark (
    one INTEGER PRIMARY KEY CHECK (one = 1),
    entry_no INTEGER NOT NULL,
    chain_sha256 TEXT NOT NULL,
    layout INTEGER NOT NULL -- of these tables; another one is made anew
) STRICT
