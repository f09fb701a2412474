-- Put a reel on the board.
INSERT INTO reel (run_id, reel_id, standing, may_leave, length_m, told, why, missing, plan_waits, find)
VALUES ($run_id, $reel_id, $standing, $may_leave, $length_m, $told, $why, $missing, $plan_waits, $find)
