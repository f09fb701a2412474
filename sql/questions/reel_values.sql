-- The figures of quantity $quantity on every reel of the assessments $assessments. Grain: one row a reel. Reads measured.reel.
SELECT assessment_id, reel_id, readings, steady_readings, mean, sd, low, high, known_m
FROM measured.reel
WHERE quantity = $quantity AND list_contains($assessments, assessment_id)
ORDER BY assessment_id, reel_id
