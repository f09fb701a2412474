-- Counts of spark faults on the wire in the assessments $assessments. Grain: one row a logged count. Reads placed.event.
SELECT
    assessment_id, fault, at_m
FROM placed.event
WHERE kind = 'spark fault' AND at_m IS NOT NULL AND assessment_id IN (SELECT unnest($assessments))
ORDER BY assessment_id, at_m, event
