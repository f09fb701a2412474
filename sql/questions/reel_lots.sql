-- Material lots in a reel: those of its load that served its stretch of the counter. Grain: one row a lot. Reads logged.material, placed.reel.
SELECT material.material, material.lot
FROM logged.material AS material
LEFT JOIN placed.reel AS reel ON reel.assessment_id = $assessment_id AND reel.reel_id = $reel_id
WHERE material.load_id = $load_id
    AND coalesce(material.from_m, '-infinity'::DOUBLE) < coalesce(reel.to_counter_m, 'infinity'::DOUBLE)
    AND coalesce(material.to_m, 'infinity'::DOUBLE) > coalesce(reel.from_counter_m, '-infinity'::DOUBLE)
ORDER BY material.material, material.lot
