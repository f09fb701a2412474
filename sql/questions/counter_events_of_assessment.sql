-- What the length counter did in assessment $assessment_id. Grain: one row an event. Reads placed.counter_event.
SELECT
    assessment_id, "row", kind, at_m, size_m, sentence, said
FROM placed.counter_event
WHERE assessment_id = $assessment_id
ORDER BY at_m, rowid
