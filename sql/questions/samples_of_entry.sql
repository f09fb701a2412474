-- The samples that journal entry $entry_no keeps. Grain: one row a result. Reads journal.sample.
SELECT
    sample_id, run_id, reel_id, from_outer_m, quantity, value, uncertainty, measured_by, instrument, source,
    entry_no
FROM journal.sample
WHERE entry_no = $entry_no
ORDER BY sample_id
