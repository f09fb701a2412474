-- Wire on reels that the evidence does not reach: no trustworthy reading, or no full spark test. Grain: one row an assessment, kind and interval.
CREATE TABLE IF NOT EXISTS measured.gap (
    assessment_id INTEGER NOT NULL,
    reel_id VARCHAR NOT NULL,
    kind VARCHAR NOT NULL,               -- 'wall unmonitored', 'diameter unmonitored', 'conductor unmonitored', 'spark untested', 'either reel'
    from_m DOUBLE NOT NULL,
    to_m DOUBLE NOT NULL,
    sentence VARCHAR NOT NULL            -- as versions before 12 wrote it; since then see `said`
)
