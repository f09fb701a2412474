-- Every finding ever on file, for naming the nearest to one that is not. Grain: one row a finding. Reads judged.finding.
SELECT DISTINCT finding_id
FROM judged.finding
ORDER BY finding_id
