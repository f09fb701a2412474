-- How the assessments $assessments decided with uncertainty. Grain: one row a requirement and rule. Reads judged.requirement.
SELECT DISTINCT
    requirement, decision_rule, decided_by
FROM judged.requirement
WHERE (decision_rule <> '' OR decided_by IS NOT NULL) AND assessment_id IN (SELECT unnest($assessments))
ORDER BY requirement, decision_rule, decided_by
