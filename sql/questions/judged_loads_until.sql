-- Every judgement with readings of every load whose shift began before $day, unless the load was thinned. Grain: one row a judgement. Reads logged.load, judged.assessment, logged.thinning.
SELECT
    load.run_id, load.load_id, load.plant, load.line, load.shift_date, load.folder AS load_folder,
    assessment.assessment_id, assessment.folder AS assessment_folder
FROM logged.load AS load
JOIN judged.assessment AS assessment USING (load_id)
WHERE load.shift_date < $day
    AND assessment.folder <> ''
    AND NOT EXISTS (FROM logged.thinning AS thinning WHERE thinning.of_folder = load.folder)
ORDER BY load.shift_date, load.load_id, assessment.assessment_id
