-- Statistical results about reels in assessment $assessment_id. Grain: one row a reel and question. Reads judged.result.
SELECT
    assessment_id, scope, subject, topic, question, estimate, low, high, confidence, unit, method, n,
    effective_n, known_m, unit_of_inference, assumptions, warnings, details, refused
FROM judged.result
WHERE scope = 'reel' AND assessment_id = $assessment_id
ORDER BY subject, topic, question, rowid
