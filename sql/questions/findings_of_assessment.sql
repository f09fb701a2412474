-- Every finding of assessment $assessment_id, in the order of the wire. Grain: one row a finding. Reads judged.finding.
SELECT
    assessment_id, finding_id, run_id, reel_id, number, rule, rules, requirement, families, subject,
    severity, holds_release, verdict, confirmed, from_m, to_m, from_core_m, to_core_m, evidence_from_m,
    evidence_to_m, worst, worst_at_m, unit, limit_value, limit_id, limit_revision, angle_deg, readings,
    instruments, cause, cause_of, cause_sentence, sentence, advice, said, cause_said, "row", file_no, line
FROM judged.finding
WHERE assessment_id = $assessment_id
ORDER BY from_m, finding_id
