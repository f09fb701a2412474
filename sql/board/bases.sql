-- What the rows of each run stand on. Grain: one row a run. Reads run.
SELECT run_id, basis, is_stale FROM run
