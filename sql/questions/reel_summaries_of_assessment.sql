-- Summary of every quantity on every reel in assessment $assessment_id. Grain: one row a reel and quantity. Reads measured.reel.
SELECT
    assessment_id, reel_id, quantity, unit, readings, steady_readings, mean, sd, low, low_at_m, high,
    high_at_m, known_m, unknown_m
FROM measured.reel
WHERE assessment_id = $assessment_id
ORDER BY reel_id, quantity
