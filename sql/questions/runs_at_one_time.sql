-- Runs with reels that one line made at the same time for over a tenth of the shorter, of runs $runs (of all where that is empty); two that share a log count where reels share its counter. Grain: one row a run and other. Reads logged.current_load, logged.file, judged.current_assessment, placed.reel.
WITH runs AS (
    SELECT load.load_id, load.run_id, load.plant, load.line, load.started_utc, load.ended_utc, assessment.assessment_id
    FROM logged.current_load AS load
    LEFT JOIN judged.current_assessment AS assessment USING (load_id)
),
pairs AS (
    SELECT
        one.run_id, other.run_id AS other_id, one.line, one.load_id, other.load_id AS other_load, one.assessment_id,
        other.assessment_id AS other_assessment,
        greatest(one.started_utc, other.started_utc) AS from_utc,
        least(one.ended_utc, other.ended_utc) AS to_utc
    FROM runs AS one
    JOIN runs AS other
        ON other.plant = one.plant AND other.line = one.line AND other.run_id <> one.run_id
        AND other.started_utc < one.ended_utc AND other.ended_utc > one.started_utc
    WHERE (len($runs) = 0 OR list_contains($runs, one.run_id))
        AND 10 * epoch(least(one.ended_utc, other.ended_utc) - greatest(one.started_utc, other.started_utc))
        > epoch(least(one.ended_utc - one.started_utc, other.ended_utc - other.started_utc))
),
-- Joined from the pairs, which are few: asked the other way it compares every reel on file with every other.
shared AS (
    SELECT DISTINCT pairs.run_id, pairs.other_id
    FROM pairs
    JOIN placed.reel AS mine ON mine.assessment_id = pairs.assessment_id
    JOIN placed.reel AS theirs
        ON theirs.assessment_id = pairs.other_assessment
        AND theirs.from_counter_m < mine.to_counter_m AND theirs.to_counter_m > mine.from_counter_m
),
known AS (
    SELECT
        pairs.*,
        EXISTS (
            SELECT 1
            FROM logged.file AS mine
            JOIN logged.file AS theirs USING (sha256)
            WHERE mine.load_id = pairs.load_id AND theirs.load_id = pairs.other_load AND mine.kind = 'readings'
        ) AS one_log,
        EXISTS (SELECT 1 FROM placed.reel AS mine WHERE mine.assessment_id = pairs.assessment_id) AS has_reels,
        EXISTS (SELECT 1 FROM placed.reel AS theirs WHERE theirs.assessment_id = pairs.other_assessment) AS other_has,
        (pairs.run_id, pairs.other_id) IN (SELECT (run_id, other_id) FROM shared) AS share_counter
    FROM pairs
)
SELECT run_id, other_id, line, from_utc, to_utc
FROM known
WHERE (assessment_id IS NULL OR has_reels) AND (other_assessment IS NULL OR other_has)
    AND (NOT one_log OR assessment_id IS NULL OR other_assessment IS NULL OR share_counter)
ORDER BY run_id, other_id
