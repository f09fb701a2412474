-- Put a finding on the board.
INSERT OR REPLACE INTO finding (
    finding_id, run_id, reel_id, severity, requirement, cause, standing, opened_utc, owner_role, owner_person, due_utc, told, find
)
VALUES (
    $finding_id, $run_id, $reel_id, $severity, $requirement, $cause, $standing, $opened_utc, $owner_role, $owner_person,
    $due_utc, $told, $find
)
