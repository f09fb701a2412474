-- Take the rows of run $run_id away, to be put anew.
DELETE FROM finding WHERE run_id = $run_id
