-- Sentences of findings as stores up to version 9 wrote them. Grain: one row an assessment and finding. Reads judged.finding.
SELECT assessment_id, reel_id, sentence
FROM judged.finding
WHERE sentence <> ''
ORDER BY assessment_id, finding_id
