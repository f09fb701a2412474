-- Shrinkage from hot to cold of runs of one product on line $line that began before $started_utc, as judged newest. Grain: one row a run with a result. Reads logged.current_load, judged.current_assessment, judged.result.
SELECT
    load.run_id, result.estimate
FROM logged.current_load AS load
JOIN judged.current_assessment AS assessment USING (load_id)
JOIN judged.result AS result ON result.assessment_id = assessment.assessment_id
WHERE
    load.line = $line AND load.construction = $construction AND load.size = $size
    AND load.conductor = $conductor AND load.metal = $metal AND load.started_utc < $started_utc
    AND result.topic = 'hot to cold' AND result.estimate IS NOT NULL
ORDER BY load.started_utc, load.run_id
