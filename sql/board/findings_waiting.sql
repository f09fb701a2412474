-- Open findings that a person is to decide: given to them or their role, or of a severity in the JSON list $severities that nobody was given. Reads finding, run.
SELECT finding.finding_id, finding.reel_id, finding.severity, finding.opened_utc, finding.due_utc, finding.told, run.line
FROM finding
JOIN run USING (run_id)
WHERE finding.standing = 'open'
    AND CASE
        WHEN finding.owner_role = '' THEN finding.severity IN (SELECT value FROM json_each($severities))
        ELSE finding.owner_role = $role AND finding.owner_person IN ('', $person)
    END
ORDER BY finding.opened_utc, finding.finding_id
