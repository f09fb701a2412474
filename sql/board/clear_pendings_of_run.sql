-- Take the rows of run $run_id away, to be put anew.
DELETE FROM pending WHERE run_id = $run_id
