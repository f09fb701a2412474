-- Findings that fit, in the order asked for, with how many fit in all. Reads finding, run.
SELECT finding.finding_id, finding.reel_id, finding.run_id, run.line, run.product, run.day, finding.severity,
    finding.requirement, finding.cause, finding.standing, finding.owner_role, finding.owner_person, finding.opened_utc,
    finding.due_utc, finding.told, count(*) OVER () AS fitting
FROM finding
JOIN run USING (run_id)
WHERE NOT EXISTS (SELECT 1 FROM json_each($words) AS word WHERE instr(finding.find, word.value) = 0)
    AND $standing IN ('', finding.standing)
    AND $severity IN ('', finding.severity)
    AND $line IN ('', run.line)
    AND $product IN ('', run.product)
    AND ($from = '' OR run.day >= $from)
    AND ($to = '' OR run.day <= $to)
ORDER BY
    CASE WHEN NOT $down THEN CASE $sort WHEN 'finding' THEN finding.finding_id WHEN 'reel' THEN finding.reel_id
        WHEN 'run' THEN finding.run_id WHEN 'line' THEN run.line WHEN 'severity' THEN finding.severity
        WHEN 'requirement' THEN finding.requirement WHEN 'standing' THEN finding.standing WHEN 'opened' THEN finding.opened_utc
        ELSE run.day END END,
    CASE WHEN $down THEN CASE $sort WHEN 'finding' THEN finding.finding_id WHEN 'reel' THEN finding.reel_id
        WHEN 'run' THEN finding.run_id WHEN 'line' THEN run.line WHEN 'severity' THEN finding.severity
        WHEN 'requirement' THEN finding.requirement WHEN 'standing' THEN finding.standing WHEN 'opened' THEN finding.opened_utc
        ELSE run.day END END DESC,
    finding.finding_id
LIMIT $most OFFSET $skip
