-- Every act on the findings and reels of run $run_id, in order. Grain: one row an act. Reads journal.act.
SELECT
    subject, version, about, run_id, reel_id, kind, disposition, role, person, reason, evidence, waits,
    plant_sheet_sha256, assessment_id, from_m, to_m, rules, at_utc, entry_no
FROM journal.act
WHERE run_id = $run_id
ORDER BY subject, version
