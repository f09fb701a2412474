-- When each finding of run $run_id was first found. Grain: one row a finding. Reads judged.finding, judged.assessment.
SELECT finding.run_id, finding.finding_id, min(assessment.assessed_utc) AS first_utc
FROM judged.finding AS finding
JOIN judged.assessment AS assessment USING (assessment_id)
WHERE finding.run_id = $run_id
GROUP BY finding.run_id, finding.finding_id
ORDER BY finding.finding_id
