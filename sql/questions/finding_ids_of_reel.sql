-- Every finding ever on reel $reel_id, of every judgement. Grain: one row a finding. Reads judged.finding.
SELECT DISTINCT finding_id
FROM judged.finding
WHERE reel_id = $reel_id
ORDER BY finding_id
