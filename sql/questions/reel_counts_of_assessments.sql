-- How many reels were judged in the assessments $assessments. Grain: one row an assessment. Reads judged.reel.
SELECT
    assessment_id, count(*) AS reels
FROM judged.reel
WHERE assessment_id IN (SELECT unnest($assessments))
GROUP BY assessment_id
ORDER BY assessment_id
