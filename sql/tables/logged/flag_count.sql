-- How many readings of a channel carry a reason not to be used. Grain: one row a load, channel and reason.
CREATE TABLE IF NOT EXISTS logged.flag_count (
    load_id INTEGER NOT NULL,
    channel VARCHAR NOT NULL,
    flag UTINYINT NOT NULL,
    reason VARCHAR NOT NULL,
    readings BIGINT NOT NULL
)
