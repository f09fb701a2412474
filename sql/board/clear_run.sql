-- Take run $run_id away.
DELETE FROM run WHERE run_id = $run_id
