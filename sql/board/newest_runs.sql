-- The newest runs with how many of their reels stand how. Grain: one row a run. Reads run, reel.
SELECT run.run_id, run.line, run.product, run.day, run.shift, run.shift_id, run.outcome, run.is_stale,
    count(reel.reel_id) AS reels, coalesce(sum(reel.standing = 'releasable'), 0) AS releasable,
    coalesce(sum(reel.standing = 'held'), 0) AS held, coalesce(sum(reel.standing = 'no conclusion'), 0) AS no_conclusion
FROM run
LEFT JOIN reel USING (run_id)
GROUP BY run.run_id
ORDER BY run.day DESC, run.judged_utc DESC, run.run_id DESC
LIMIT $most
