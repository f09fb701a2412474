-- Findings of cause $cause of $cause_of in the newest judgement of every run, newest run first. Grain: one row a finding. Reads judged.finding, judged.current_assessment, logged.load.
SELECT finding.finding_id, finding.reel_id, finding.run_id
FROM judged.finding AS finding
JOIN judged.current_assessment AS assessment USING (assessment_id)
JOIN logged.load AS load USING (load_id)
WHERE finding.cause = $cause AND finding.cause_of = $cause_of
ORDER BY load.started_utc DESC, finding.from_m, finding.finding_id
