-- How many reels of the assessments $assessments fail each limit, and how many were judged by it. Grain: one row a requirement and limit. Reads judged.requirement.
SELECT
    requirement, limit_value,
    count(DISTINCT reel_id) FILTER (WHERE verdict = 'does not conform') AS bad,
    count(DISTINCT reel_id) AS reels
FROM judged.requirement
WHERE assessment_id IN (SELECT unnest($assessments))
    AND limit_value IS NOT NULL
    AND verdict IN ('conforms', 'does not conform', 'indeterminate')
GROUP BY requirement, limit_value
ORDER BY requirement, limit_value
