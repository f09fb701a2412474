-- Put a run on the board, or what it is now.
INSERT OR REPLACE INTO run (run_id, basis, is_stale, line, product, day, shift, shift_id, outcome, made_m, judged_utc, find)
VALUES ($run_id, $basis, $is_stale, $line, $product, $day, $shift, $shift_id, $outcome, $made_m, $judged_utc, $find)
