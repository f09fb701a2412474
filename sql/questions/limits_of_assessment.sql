-- The limit rows assessment $assessment_id judged by. Grain: one row a limit. Reads judged.limit, every column: stores before version 7 keep no note.
SELECT *
FROM judged."limit"
WHERE assessment_id = $assessment_id
ORDER BY requirement, requirement_set, limit_id
