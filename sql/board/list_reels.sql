-- Reels that fit, in the order asked for, with how many fit in all. Reads reel, run.
SELECT reel.reel_id, reel.run_id, run.line, run.product, run.day, run.shift, reel.standing, reel.length_m, reel.may_leave,
    reel.told, reel.why, count(*) OVER () AS fitting
FROM reel
JOIN run USING (run_id)
WHERE NOT EXISTS (SELECT 1 FROM json_each($words) AS word WHERE instr(reel.find, word.value) = 0)
    AND $standing IN ('', reel.standing)
    AND CASE $leave
        WHEN 'may' THEN reel.may_leave = 1
        WHEN 'may not' THEN reel.may_leave = 0 AND reel.standing NOT IN ('releasable', 'shipped', 'scrapped', 'cut')
        ELSE 1
    END
    AND $line IN ('', run.line)
    AND $product IN ('', run.product)
    AND ($from = '' OR run.day >= $from)
    AND ($to = '' OR run.day <= $to)
ORDER BY
    CASE WHEN NOT $down THEN CASE $sort WHEN 'reel' THEN reel.reel_id WHEN 'run' THEN reel.run_id WHEN 'line' THEN run.line
        WHEN 'product' THEN run.product WHEN 'standing' THEN reel.standing WHEN 'length' THEN reel.length_m ELSE run.day END END,
    CASE WHEN $down THEN CASE $sort WHEN 'reel' THEN reel.reel_id WHEN 'run' THEN reel.run_id WHEN 'line' THEN run.line
        WHEN 'product' THEN run.product WHEN 'standing' THEN reel.standing WHEN 'length' THEN reel.length_m ELSE run.day END END DESC,
    reel.run_id DESC, reel.reel_id
LIMIT $most OFFSET $skip
