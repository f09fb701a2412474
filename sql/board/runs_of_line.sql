-- Runs of line $line on one of the days in the JSON list $days. Reads run.
SELECT run_id FROM run WHERE line = $line AND day IN (SELECT value FROM json_each($days))
