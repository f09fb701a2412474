-- Every finding on reel $reel_id in assessment $assessment_id, in the order of the wire. Grain: one row a finding. Reads judged.finding.
SELECT
    finding_id, rule, requirement, severity, verdict, holds_release, worst, worst_at_m, unit, limit_value, limit_id,
    limit_revision, instruments, cause, cause_sentence, sentence, advice, said, cause_said, file_no, line, from_m, to_m, from_core_m, to_core_m
FROM judged.finding
WHERE assessment_id = $assessment_id AND reel_id = $reel_id
ORDER BY from_m, finding_id
