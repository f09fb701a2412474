-- Reels whose standing is in the JSON list $standings. Reads reel.
SELECT reel_id, told FROM reel WHERE standing IN (SELECT value FROM json_each($standings)) ORDER BY reel_id
