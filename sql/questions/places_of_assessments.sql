-- Where each reel lies on the wire in the assessments $assessments. Grain: one row a reel. Reads placed.reel.
SELECT
    assessment_id, reel_id, from_m, to_m
FROM placed.reel
WHERE assessment_id IN (SELECT unnest($assessments))
ORDER BY assessment_id, reel_no
