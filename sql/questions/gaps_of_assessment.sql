-- Wire on reels that the evidence does not reach in assessment $assessment_id. Grain: one row an interval. Reads measured.gap.
SELECT
    assessment_id, reel_id, kind, from_m, to_m, sentence, said
FROM measured.gap
WHERE assessment_id = $assessment_id
ORDER BY from_m, kind, rowid
