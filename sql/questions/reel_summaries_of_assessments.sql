-- Summary of every quantity on every reel in the assessments $assessments. Grain: one row a reel and quantity. Reads measured.reel.
SELECT
    assessment_id, reel_id, quantity, steady_readings, mean, sd, low, low_at_m
FROM measured.reel
WHERE assessment_id IN (SELECT unnest($assessments))
ORDER BY assessment_id, reel_id, quantity
