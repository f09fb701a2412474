-- Every requirement judged on reels of line $line made after the day $good_on, as judged newest. Grain: one row a run, reel, requirement and limit. Reads logged.current_load, judged.current_assessment, judged.requirement.
SELECT
    load.run_id, load.shift_date, requirement.reel_id, requirement.requirement, requirement.limit_id,
    requirement.sense, requirement.limit_value, requirement.unit, requirement.worst, requirement.uncertainty,
    requirement.verdict
FROM logged.current_load AS load
JOIN judged.current_assessment AS assessment USING (load_id)
JOIN judged.requirement AS requirement ON requirement.assessment_id = assessment.assessment_id
WHERE load.line = $line AND load.shift_date > $good_on
ORDER BY load.shift_date, load.run_id, requirement.reel_id, requirement.requirement, requirement.limit_id
