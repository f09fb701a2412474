-- How the reels of run $run_id stand on the board. Reads reel.
SELECT reel_id, standing FROM reel WHERE run_id = $run_id
