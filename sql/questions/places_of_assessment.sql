-- Where each reel lies on the wire in assessment $assessment_id. Grain: one row a reel. Reads placed.reel.
SELECT
    assessment_id, run_id, reel_id, reel_no, from_m, to_m, from_counter_m, to_counter_m
FROM placed.reel
WHERE assessment_id = $assessment_id
ORDER BY reel_no
