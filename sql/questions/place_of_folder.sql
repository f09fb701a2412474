-- Plant, line, day, run and number of the load or judgement whose readings are on file as $folder. Grain: no row or one. Reads logged.load, judged.assessment.
SELECT load.plant, load.line, load.shift_date, load.run_id, 'load_id' AS key, load.load_id AS number
FROM logged.load AS load
WHERE load.folder = $folder
UNION ALL
SELECT load.plant, load.line, load.shift_date, load.run_id, 'assessment_id', assessment.assessment_id
FROM judged.assessment AS assessment
JOIN logged.load AS load USING (load_id)
WHERE assessment.folder = $folder
