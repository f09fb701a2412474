-- Runs whose rows are to be read anew, newest first. Reads run.
SELECT run_id FROM run WHERE is_stale = 1 ORDER BY day DESC, run_id DESC LIMIT $most
