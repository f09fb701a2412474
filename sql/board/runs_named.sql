-- The runs of what is named in the JSON list $names: runs, reels, findings, lengths with a decision. Reads run, reel, finding, pending.
SELECT run_id FROM run WHERE run_id IN (SELECT value FROM json_each($names))
UNION
SELECT run_id FROM reel WHERE reel_id IN (SELECT value FROM json_each($names))
UNION
SELECT run_id FROM finding WHERE finding_id IN (SELECT value FROM json_each($names))
UNION
SELECT run_id FROM pending WHERE subject IN (SELECT value FROM json_each($names))
