-- Decisions that are not done, of dispositions in the JSON list $dispositions. Reads pending, run.
SELECT pending.subject, pending.about, pending.reel_id, pending.standing, pending.disposition, pending.role, pending.person
FROM pending
WHERE pending.disposition IN (SELECT value FROM json_each($dispositions))
ORDER BY pending.subject
