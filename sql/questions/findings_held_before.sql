-- What held a reel of run $run_id when it was last seen. Grain: one row a finding. Reads judged.finding, judged.assessment.
SELECT
    finding.assessment_id, finding.finding_id, finding.reel_id, finding.from_m, finding.to_m, finding.verdict,
    assessment.load_id
FROM judged.finding AS finding
JOIN judged.assessment AS assessment USING (assessment_id)
WHERE finding.run_id = $run_id AND finding.reel_id <> '' AND finding.holds_release
QUALIFY row_number() OVER (PARTITION BY finding.finding_id ORDER BY finding.assessment_id DESC) = 1
ORDER BY finding.assessment_id, finding.finding_id
