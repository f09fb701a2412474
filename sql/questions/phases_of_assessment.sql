-- Phases of the run in assessment $assessment_id. Grain: one row a stretch. Reads placed.phase.
SELECT
    assessment_id, from_m, to_m, phase
FROM placed.phase
WHERE assessment_id = $assessment_id
ORDER BY from_m, rowid
