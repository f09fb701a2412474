-- Mean wall and offset of the wire in stretches in the assessments $assessments, where a store version up to 5 kept it. Grain: one row a stretch. Reads measured.stretch.
SELECT
    assessment_id, from_m, to_m, mean_wall_mm, ecc_cos_mm, ecc_sin_mm
FROM measured.stretch
WHERE assessment_id IN (SELECT unnest($assessments))
ORDER BY assessment_id, stretch
