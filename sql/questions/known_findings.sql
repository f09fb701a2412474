-- Every finding run $run_id ever had, as last seen. Grain: one row a number. Reads judged.finding.
SELECT number, families, subject, from_m, to_m
FROM judged.finding
WHERE run_id = $run_id
QUALIFY row_number() OVER (PARTITION BY number ORDER BY assessment_id DESC) = 1
ORDER BY number
