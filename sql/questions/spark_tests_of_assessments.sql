-- Spark faults and untested wire of every reel in the assessments $assessments. Grain: one row a reel. Reads judged.reel.
SELECT
    assessment_id, reel_id, spark_untested_m, spark_faults
FROM judged.reel
WHERE assessment_id IN (SELECT unnest($assessments))
ORDER BY assessment_id, reel_id
