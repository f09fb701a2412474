-- How the assessments $assessments decided with uncertainty. Grain: one row a requirement and rule. Reads judged.requirement.
SELECT DISTINCT
    requirement, decision_rule
FROM judged.requirement
WHERE decision_rule <> '' AND assessment_id IN (SELECT unnest($assessments))
ORDER BY requirement, decision_rule
