-- Runs that fit, in the order asked for, with how their reels stand and how many fit in all. Reads run, reel.
SELECT run.run_id, run.line, run.product, run.day, run.shift, run.outcome, run.made_m, count(reel.reel_id) AS reels,
    coalesce(sum(reel.may_leave), 0) AS may_leave, coalesce(sum(reel.standing = 'releasable'), 0) AS releasable,
    coalesce(sum(reel.standing = 'held'), 0) AS held, coalesce(sum(reel.standing = 'no conclusion'), 0) AS no_conclusion,
    count(*) OVER () AS fitting
FROM run
LEFT JOIN reel USING (run_id)
WHERE NOT EXISTS (SELECT 1 FROM json_each($words) AS word WHERE instr(run.find, word.value) = 0)
    AND $line IN ('', run.line)
    AND $product IN ('', run.product)
    AND ($from = '' OR run.day >= $from)
    AND ($to = '' OR run.day <= $to)
GROUP BY run.run_id
ORDER BY
    CASE WHEN NOT $down THEN CASE $sort WHEN 'run' THEN run.run_id WHEN 'line' THEN run.line WHEN 'product' THEN run.product
        WHEN 'made' THEN run.made_m ELSE run.day END END,
    CASE WHEN $down THEN CASE $sort WHEN 'run' THEN run.run_id WHEN 'line' THEN run.line WHEN 'product' THEN run.product
        WHEN 'made' THEN run.made_m ELSE run.day END END DESC,
    run.run_id DESC
LIMIT $most OFFSET $skip
