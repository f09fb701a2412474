-- How every reel stands. Grain: one row a reel of a run.
CREATE TABLE IF NOT EXISTS reel (
    run_id TEXT NOT NULL,
    reel_id TEXT NOT NULL,
    standing TEXT NOT NULL,
    may_leave INTEGER NOT NULL,
    length_m REAL NOT NULL,
    told TEXT NOT NULL, -- its headline, a message as JSON
    why TEXT NOT NULL, -- what speaks against letting it go, messages as a JSON list
    missing TEXT NOT NULL, -- samples that are asked for and not on file, messages as a JSON list
    plan_waits INTEGER NOT NULL, -- 1 where wire is to be scrapped and no cutting plan was accepted since
    find TEXT NOT NULL,
    PRIMARY KEY (run_id, reel_id)
) STRICT
