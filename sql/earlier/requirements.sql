-- Requirements that stores up to version 10 judged and did not find met, with their sentences. Grain: one row an assessment, reel, requirement and limit. Reads judged.requirement.
SELECT assessment_id, reel_id, requirement, requirement_set, limit_id, sentence
FROM judged.requirement
WHERE verdict <> 'conforms'
ORDER BY assessment_id, reel_id, rowid
