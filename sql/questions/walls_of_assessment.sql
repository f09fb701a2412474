-- What assessment $assessment_id judged of the wall at any point. Grain: one row a reel and limit. Reads judged.requirement.
SELECT
    assessment_id, run_id, reel_id, requirement, requirement_set, limit_id, sense, limit_value, unit,
    worst, worst_at_m, uncertainty, decision_rule, verdict, sentence, said, nonconforming_m, known_m, unknown_m, decided_by
FROM judged.requirement
WHERE requirement = 'minimum wall at any point' AND assessment_id = $assessment_id
ORDER BY reel_id, requirement_set, rowid
