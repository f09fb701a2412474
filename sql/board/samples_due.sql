-- Samples that are asked for and not on file, each once with a reel it is about. Reads reel.
SELECT min(reel.reel_id) AS reel_id, missing.value AS told
FROM reel, json_each(reel.missing) AS missing
WHERE reel.standing NOT IN ('scrapped', 'shipped', 'cut')
GROUP BY missing.value
ORDER BY reel_id, told
