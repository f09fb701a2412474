-- What left the plant, as the plant tells it. Grain: one row a reel or cut length shipped; never updated.
CREATE TABLE IF NOT EXISTS journal.shipment (
    item VARCHAR PRIMARY KEY,            -- a reel or a cut length; each leaves once
    item_kind VARCHAR NOT NULL,          -- 'reel' or 'cut length'
    shipment VARCHAR NOT NULL,
    to_place VARCHAR NOT NULL,           -- where it went, in the plant's words
    at_utc TIMESTAMP,                    -- NULL where the plant gives no time
    entry_no BIGINT NOT NULL             -- the journal entry that keeps this row's hash
)
