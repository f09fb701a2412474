-- Every requirement judged on reel $reel_id in assessment $assessment_id. Grain: one row a requirement and limit. Reads judged.requirement, judged.limit.
SELECT requirement.*, "limit".value_of_record, "limit".unit_of_record, "limit".document, "limit".edition,
    "limit".table_or_clause, "limit".revision, "limit".entered_by, "limit".source, "limit".status
FROM judged.requirement AS requirement
LEFT JOIN judged."limit" AS "limit"
    ON "limit".assessment_id = requirement.assessment_id AND "limit".limit_id = requirement.limit_id
WHERE requirement.assessment_id = $assessment_id AND requirement.reel_id = $reel_id
ORDER BY requirement.requirement, requirement.requirement_set
