-- Runs judged after entry $entry_no, newest first, with how their reels stand. Reads event, run, reel.
SELECT max(event.entry_no) AS entry_no, max(event.at_utc) AS at_utc, run.run_id, run.product, run.outcome,
    stands.reels, stands.releasable, stands.held, stands.no_conclusion
FROM event
JOIN run ON run.run_id = event.subject
JOIN (
    SELECT run.run_id, count(reel.reel_id) AS reels, coalesce(sum(reel.standing = 'releasable'), 0) AS releasable,
        coalesce(sum(reel.standing = 'held'), 0) AS held,
        coalesce(sum(reel.standing = 'no conclusion'), 0) AS no_conclusion
    FROM run
    LEFT JOIN reel USING (run_id)
    GROUP BY run.run_id
) AS stands ON stands.run_id = run.run_id
WHERE event.kind = 'assessment' AND event.entry_no > $entry_no
GROUP BY run.run_id
ORDER BY entry_no DESC
LIMIT $most
