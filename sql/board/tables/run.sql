-- Runs as loaded and judged newest. Grain: one row a run.
CREATE TABLE IF NOT EXISTS run (
    run_id TEXT PRIMARY KEY,
    basis TEXT NOT NULL, -- load, judgement and sheet that its rows stand on
    is_stale INTEGER NOT NULL, -- 1 until its rows are read anew
    line TEXT NOT NULL,
    product TEXT NOT NULL,
    day TEXT NOT NULL, -- production day
    shift TEXT NOT NULL,
    shift_id TEXT NOT NULL,
    outcome TEXT NOT NULL, -- empty for a run that was not judged
    made_m REAL NOT NULL,
    judged_utc TEXT NOT NULL,
    find TEXT NOT NULL -- what a search looks through, in small letters
) STRICT
