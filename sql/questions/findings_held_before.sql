-- What held a reel of run $run_id when it was last seen. Grain: one row a finding. Reads judged.finding.
SELECT assessment_id, finding_id, reel_id, from_m, to_m
FROM judged.finding
WHERE run_id = $run_id AND reel_id <> '' AND holds_release
QUALIFY row_number() OVER (PARTITION BY finding_id ORDER BY assessment_id DESC) = 1
ORDER BY assessment_id, finding_id
