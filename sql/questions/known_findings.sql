-- Every finding run $run_id ever had, as last seen. Grain: one row a number. Reads judged.finding.
SELECT
    finding_id, run_id, reel_id, number, rule, rules, requirement, families, subject, severity, holds_release,
    verdict, confirmed, from_m, to_m, evidence_from_m, evidence_to_m, worst, worst_at_m, limit_id,
    limit_revision, readings, instruments, cause, cause_of, cause_sentence, sentence, said, cause_said, "row"
FROM judged.finding
WHERE run_id = $run_id
QUALIFY row_number() OVER (PARTITION BY number ORDER BY assessment_id DESC) = 1
ORDER BY number
