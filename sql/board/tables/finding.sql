-- Findings of the newest judgement of each run. Grain: one row a finding.
CREATE TABLE IF NOT EXISTS finding (
    finding_id TEXT PRIMARY KEY,
    run_id TEXT NOT NULL,
    reel_id TEXT NOT NULL, -- empty for wire on no reel
    severity TEXT NOT NULL,
    requirement TEXT NOT NULL, -- or the rule
    cause TEXT NOT NULL,
    standing TEXT NOT NULL, -- open, awaiting a second person, decided or closed
    opened_utc TEXT NOT NULL,
    owner_role TEXT NOT NULL, -- whom it was given to; empty for the owner by its severity
    owner_person TEXT NOT NULL,
    due_utc TEXT NOT NULL, -- until when it was asked for; empty for the time by its severity
    told TEXT NOT NULL, -- a message as JSON
    find TEXT NOT NULL
) STRICT
