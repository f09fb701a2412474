-- The newest judgement of reel $reel_id with the run it was made in. Grain: no row or one. Reads judged.reel, judged.current_assessment, logged.load, placed.reel.
SELECT
    reel.*,
    place.from_m,
    place.to_m,
    load.line,
    load.construction,
    load.size,
    load.conductor,
    load.metal,
    load.colour,
    load.shift,
    load.shift_date,
    load.started_utc,
    load.plant,
    assessment.load_id,
    assessment.assessed_utc,
    assessment.software,
    assessment.outcome,
    assessment.reason,
    assessment.said
FROM judged.reel AS reel
JOIN judged.current_assessment AS assessment USING (assessment_id)
JOIN logged.load AS load USING (load_id)
LEFT JOIN placed.reel AS place ON place.assessment_id = reel.assessment_id AND place.reel_id = reel.reel_id
WHERE reel.reel_id = $reel_id
