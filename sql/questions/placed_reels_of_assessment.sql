-- Standing of every reel in assessment $assessment_id with its place, in the order of the wire. Grain: one row a reel. Reads judged.reel, placed.reel.
SELECT
    reel.assessment_id, reel.run_id, reel.reel_id, reel.standing, reel.reasons, reel.held_by, reel.first_action, reel.first_said, reel.length_m,
    reel.steady_m, reel.wall_unmonitored_m, reel.diameter_unmonitored_m, reel.spark_untested_m, reel.spark_faults,
    reel.spark_counts, reel.surface_flaws, reel.thinnest_wall_mm, reel.thinnest_wall_at_m, reel.mean_wall_mm,
    reel.concentricity_low_pct, reel.findings, place.reel_no, place.from_m, place.to_m, place.from_counter_m,
    place.to_counter_m
FROM judged.reel AS reel
LEFT JOIN placed.reel AS place ON place.assessment_id = reel.assessment_id AND place.reel_id = reel.reel_id
WHERE reel.assessment_id = $assessment_id
ORDER BY place.from_m, reel.reel_id
