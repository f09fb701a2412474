-- The cut lengths that journal entry $entry_no keeps. Grain: one row a cut length. Reads placed.cut.
SELECT length_id, reel_id, from_outer_m, to_outer_m, use, at_utc, entry_no
FROM placed.cut
WHERE entry_no = $entry_no
ORDER BY reel_id, from_outer_m, length_id
