-- Reasons not to use readings in load $load_id. Grain: one row a channel and reason. Reads logged.flag_count.
SELECT
    load_id, channel, flag, reason, readings
FROM logged.flag_count
WHERE load_id = $load_id
ORDER BY channel, flag, rowid
