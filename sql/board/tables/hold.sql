-- Persons' holds in force. Grain: one row a hold.
CREATE TABLE IF NOT EXISTS hold (
    number INTEGER PRIMARY KEY,
    about TEXT NOT NULL, -- reel or lot
    subject TEXT NOT NULL,
    told TEXT NOT NULL -- a message as JSON
) STRICT
