-- Reels with reasons as stores up to version 10 wrote them. Grain: one row an assessment and reel. Reads judged.reel.
SELECT assessment_id, reel_id, standing, reasons
FROM judged.reel
WHERE len(reasons) > 0
ORDER BY assessment_id, reel_id
