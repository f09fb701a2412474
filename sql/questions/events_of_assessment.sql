-- Spark faults and surface flaws on the wire in assessment $assessment_id. Grain: one row a logged event. Reads placed.event.
SELECT
    assessment_id, event, fault, kind, at_m, at_sd_m, time_utc, spark_kv, flaw_size_mm, flaw_class,
    file_no, line
FROM placed.event
WHERE assessment_id = $assessment_id
ORDER BY at_m, event
