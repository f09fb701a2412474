-- Finding $finding_id as the newest judgement that saw it shows it. Grain: no row or one; is_current tells whether the newest judgement of its run saw it. Reads judged.finding, judged.current_assessment.
SELECT finding.*, current_assessment.assessment_id IS NOT NULL AS is_current
FROM judged.finding AS finding
LEFT JOIN judged.current_assessment AS current_assessment USING (assessment_id)
WHERE finding.finding_id = $finding_id
QUALIFY row_number() OVER (ORDER BY finding.assessment_id DESC) = 1
