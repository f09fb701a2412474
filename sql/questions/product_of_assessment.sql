-- What assessment $assessment_id judged its run as. Grain: no row or one. Reads judged.assessment, logged.load.
SELECT load.construction, load.size, load.conductor, replace(load.metal, 'aluminium', 'aluminum') AS metal
FROM judged.assessment AS assessment
JOIN logged.load AS load USING (load_id)
WHERE assessment.assessment_id = $assessment_id
