-- Material lots in each reel of run $run_id, as judged newest: those that served its stretch of the counter. Grain: one row a reel and lot. Reads logged.material, judged.current_assessment, placed.reel.
SELECT DISTINCT assessment.run_id, reel.reel_id, material.material, material.lot
FROM judged.current_assessment AS assessment
JOIN placed.reel AS reel USING (assessment_id)
JOIN logged.material AS material USING (load_id)
WHERE assessment.run_id = $run_id
    AND coalesce(material.from_m, '-infinity'::DOUBLE) < coalesce(reel.to_counter_m, 'infinity'::DOUBLE)
    AND coalesce(material.to_m, 'infinity'::DOUBLE) > coalesce(reel.from_counter_m, '-infinity'::DOUBLE)
ORDER BY reel.reel_id, material.material, material.lot
