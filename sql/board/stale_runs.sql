-- How many runs are to be read anew. Reads run.
SELECT count(*) AS runs FROM run WHERE is_stale = 1
