-- Have the rows of run $run_id read anew.
UPDATE run SET is_stale = 1 WHERE run_id = $run_id
