-- What a name stands for: a finding, a reel, a run, a lot held or a length with a decision, in this order. Reads finding, reel, run, pending, hold.
SELECT 'finding' AS kind, finding_id AS name, 1 AS rank FROM finding WHERE finding_id = $name
UNION ALL
SELECT 'reel', reel_id, 2 FROM reel WHERE reel_id = $name
UNION ALL
SELECT 'run', run_id, 3 FROM run WHERE run_id = $name
UNION ALL
SELECT 'lot', subject, 4 FROM hold WHERE subject = $name AND about = 'lot'
UNION ALL
SELECT 'reel', reel_id, 5 FROM pending WHERE subject = $name
ORDER BY rank
LIMIT 1
