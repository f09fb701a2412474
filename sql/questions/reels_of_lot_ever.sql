-- Every reel that any load or judgement on file, replaced ones included, says to hold wire made with lot $lot, however its case and spaces are typed. Grain: one row a reel. Reads logged.material, judged.assessment, judged.reel, placed.reel.
SELECT DISTINCT reel.reel_id
FROM logged.material AS material
JOIN judged.assessment AS assessment USING (load_id)
JOIN judged.reel AS reel USING (assessment_id)
LEFT JOIN placed.reel AS place ON place.assessment_id = reel.assessment_id AND place.reel_id = reel.reel_id
WHERE lower(replace(material.lot, ' ', '')) = lower(replace($lot, ' ', ''))
    AND coalesce(material.from_m, '-infinity'::DOUBLE) < coalesce(place.to_counter_m, 'infinity'::DOUBLE)
    AND coalesce(material.to_m, 'infinity'::DOUBLE) > coalesce(place.from_counter_m, '-infinity'::DOUBLE)
ORDER BY reel.reel_id
