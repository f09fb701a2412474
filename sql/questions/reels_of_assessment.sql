-- Standing of every reel in assessment $assessment_id. Grain: one row a reel. Reads judged.reel.
SELECT
    assessment_id, run_id, reel_id, standing, reasons, held_by, first_action, first_said, length_m, steady_m,
    wall_unmonitored_m, diameter_unmonitored_m, spark_untested_m, spark_faults, spark_counts,
    surface_flaws, thinnest_wall_mm, thinnest_wall_at_m, mean_wall_mm, concentricity_low_pct, findings
FROM judged.reel
WHERE assessment_id = $assessment_id
ORDER BY reel_id
