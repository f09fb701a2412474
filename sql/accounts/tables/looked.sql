-- How far each person has looked through what happened. Grain: one row an account.
CREATE TABLE IF NOT EXISTS looked (
    key TEXT PRIMARY KEY,
    entry_no INTEGER NOT NULL -- of the store's journal
) STRICT
