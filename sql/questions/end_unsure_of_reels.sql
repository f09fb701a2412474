-- How well the ends of each reel are known in assessment $assessment_id, where an accumulator's content was not: half the wire that may lie on this reel or the next. Grain: one row a reel with such an end. Reads measured.gap.
SELECT
    reel_id,
    max(to_m - from_m) / 2.0 AS end_unsure_m
FROM measured.gap
WHERE assessment_id = $assessment_id AND kind = 'either reel'
GROUP BY reel_id
ORDER BY reel_id
