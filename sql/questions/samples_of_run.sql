-- Laboratory samples cut from the reels of run $run_id. Grain: one row a result. Reads journal.sample.
SELECT
    sample_id, run_id, reel_id, from_outer_m, quantity, value, uncertainty, measured_by, instrument, source,
    entry_no
FROM journal.sample
WHERE run_id = $run_id
ORDER BY entry_no, sample_id
