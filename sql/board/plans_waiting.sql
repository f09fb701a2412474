-- Reels of which wire is to be scrapped and no cutting plan was accepted since. Reads reel.
SELECT reel_id, told FROM reel WHERE plan_waits = 1 ORDER BY reel_id
