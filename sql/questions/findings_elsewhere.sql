-- Findings of other runs than $run_id, each as judged newest, of any of the causes $causes of $causes_of, side by side; oldest run first, in the order of the wire. Grain: one row a finding. Reads judged.finding, judged.current_assessment, logged.current_load.
SELECT
    finding.assessment_id, finding.finding_id, finding.run_id, finding.reel_id, finding.number, finding.rule, finding.rules,
    finding.requirement, finding.families, finding.subject, finding.severity, finding.holds_release, finding.verdict,
    finding.confirmed, finding.from_m, finding.to_m, finding.from_core_m, finding.to_core_m, finding.evidence_from_m,
    finding.evidence_to_m, finding.worst, finding.worst_at_m, finding.unit, finding.limit_value, finding.limit_id,
    finding.limit_revision, finding.angle_deg, finding.readings, finding.instruments, finding.cause, finding.cause_of,
    finding.cause_sentence, finding.sentence, finding.advice, finding.said, finding.cause_said, finding."row",
    finding.file_no, finding.line
FROM judged.finding AS finding
JOIN judged.current_assessment AS assessment USING (assessment_id)
JOIN logged.current_load AS load USING (load_id)
WHERE finding.run_id <> $run_id
    AND (finding.cause, finding.cause_of) IN (SELECT (unnest($causes), unnest($causes_of)))
ORDER BY load.shift_date, load.started_utc, load.run_id, finding.from_m, finding.finding_id
