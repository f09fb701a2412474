-- Every reel that holds wire made with lot $lot, as judged newest. Grain: one row a reel. Reads logged.material, judged.current_assessment, placed.reel, judged.reel.
SELECT DISTINCT reel.reel_id, reel.run_id, reel.standing, reel.length_m, reel.findings,
    reel.spark_faults, reel.thinnest_wall_mm, reel.wall_unmonitored_m, place.from_m, place.to_m
FROM logged.material AS material
JOIN judged.current_assessment AS assessment USING (load_id)
JOIN judged.reel AS reel USING (assessment_id)
LEFT JOIN placed.reel AS place ON place.assessment_id = reel.assessment_id AND place.reel_id = reel.reel_id
WHERE material.lot = $lot
    AND coalesce(material.from_m, '-infinity'::DOUBLE) < coalesce(place.to_counter_m, 'infinity'::DOUBLE)
    AND coalesce(material.to_m, 'infinity'::DOUBLE) > coalesce(place.from_counter_m, '-infinity'::DOUBLE)
ORDER BY reel.run_id, place.from_m
