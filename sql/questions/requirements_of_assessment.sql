-- Every requirement judged in assessment $assessment_id. Grain: one row a reel, requirement and limit. Reads judged.requirement.
SELECT
    assessment_id, run_id, reel_id, requirement, requirement_set, limit_id, sense, limit_value, unit,
    worst, worst_at_m, uncertainty, decision_rule, verdict, sentence, said, nonconforming_m, known_m, unknown_m, decided_by
FROM judged.requirement
WHERE assessment_id = $assessment_id
ORDER BY reel_id, requirement, requirement_set, rowid
