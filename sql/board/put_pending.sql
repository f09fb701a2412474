-- Put a decision that is not done on the board.
INSERT OR REPLACE INTO pending (subject, about, run_id, reel_id, standing, disposition, role, person)
VALUES ($subject, $about, $run_id, $reel_id, $standing, $disposition, $role, $person)
