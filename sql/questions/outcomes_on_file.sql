-- What every judgement on file came to. Grain: one row a judgement. Reads judged.assessment, judged.reel and judged.finding.
WITH reels AS (
    SELECT
        assessment_id,
        count(*) FILTER (WHERE standing = 'releasable') AS releasable,
        count(*) FILTER (WHERE standing = 'held') AS held
    FROM judged.reel
    GROUP BY assessment_id
),
findings AS (
    SELECT assessment_id, count(*) AS findings
    FROM judged.finding
    GROUP BY assessment_id
)
SELECT
    assessment.assessment_id, assessment.run_id, assessment.basis_sha256, assessment.outcome, assessment.reason,
    assessment.said,
    coalesce(reels.releasable, 0) AS releasable, coalesce(reels.held, 0) AS held,
    coalesce(findings.findings, 0) AS findings
FROM judged.assessment AS assessment
LEFT JOIN reels USING (assessment_id)
LEFT JOIN findings USING (assessment_id)
ORDER BY assessment.assessment_id
