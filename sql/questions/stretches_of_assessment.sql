-- The wire in stretches in assessment $assessment_id, where a store version up to 5 kept it. Grain: one row a stretch. Reads measured.stretch.
SELECT
    assessment_id, stretch, from_m, to_m, wall_readings, wall_known_m, mean_wall_mm, mean_wall_low_mm,
    mean_wall_high_mm, thinnest_wall_mm, ecc_cos_mm, ecc_sin_mm, eccentricity_high_mm,
    concentricity_low_pct, diameter_readings, diameter_known_m, diameter_mm, diameter_low_mm,
    diameter_high_mm, ovality_high_mm
FROM measured.stretch
WHERE assessment_id = $assessment_id
ORDER BY stretch
