-- Lengths cut from reels, as the plant tells them. Grain: one row a cut length; never updated.
CREATE TABLE IF NOT EXISTS placed.cut (
    length_id VARCHAR PRIMARY KEY,
    reel_id VARCHAR NOT NULL,
    from_outer_m DOUBLE NOT NULL,        -- from the end of the reel that comes off first
    to_outer_m DOUBLE NOT NULL,
    use VARCHAR NOT NULL,                -- 'package', 'stock' or 'scrap'
    at_utc TIMESTAMP,                    -- NULL where the plant gives no time
    entry_no BIGINT NOT NULL             -- the journal entry that keeps this row's hash
)
