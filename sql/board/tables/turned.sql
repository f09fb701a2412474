-- Reels that came to stand otherwise. Grain: one row a reel and change.
CREATE TABLE IF NOT EXISTS turned (
    reel_id TEXT NOT NULL,
    entry_no INTEGER NOT NULL, -- newest entry of the journal when it was seen
    was TEXT NOT NULL,
    now TEXT NOT NULL,
    PRIMARY KEY (reel_id, entry_no)
) STRICT
