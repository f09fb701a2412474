-- What must be told about the logs of load $load_id. Grain: one row a sentence. Reads logged.warning.
SELECT
    load_id, sentence, said
FROM logged.warning
WHERE load_id = $load_id
ORDER BY sentence, said
