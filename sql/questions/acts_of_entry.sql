-- The act that journal entry $entry_no keeps. Grain: no row or one. Reads journal.act.
SELECT
    subject, version, about, run_id, reel_id, kind, disposition, role, person, reason, evidence, waits,
    plant_sheet_sha256, assessment_id, from_m, to_m, rules, at_utc, entry_no
FROM journal.act
WHERE entry_no = $entry_no
ORDER BY subject, version
