-- Every act on finding or reel $subject, in order. Grain: one row an act. Reads journal.act.
SELECT
    subject, version, about, run_id, reel_id, kind, disposition, role, person, reason, evidence, waits,
    plant_sheet_sha256, assessment_id, from_m, to_m, rules, at_utc, entry_no
FROM journal.act
WHERE subject = $subject
ORDER BY version
