-- Reels that came to stand otherwise after entry $entry_no, with how they stood first and stand last. Reads turned, reel.
SELECT turned.reel_id, reel.standing AS now, reel.told, turned.was, max(turned.entry_no) AS entry_no
FROM (
    SELECT reel_id, entry_no, first_value(was) OVER (PARTITION BY reel_id ORDER BY entry_no) AS was
    FROM turned
    WHERE entry_no > $entry_no
) AS turned
JOIN reel USING (reel_id)
WHERE turned.was <> reel.standing
GROUP BY turned.reel_id
ORDER BY entry_no DESC, turned.reel_id
LIMIT $most
