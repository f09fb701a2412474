-- One judgement of one run: which load, which plant sheet, which software, what came of it. Grain: one row an assessment; never updated.
CREATE TABLE IF NOT EXISTS judged.assessment (
    assessment_id INTEGER PRIMARY KEY,
    run_id VARCHAR NOT NULL,
    load_id INTEGER NOT NULL,
    basis_sha256 VARCHAR NOT NULL,       -- over load, plant sheet, limits in force and method version: the same basis is judged once
    plant_sheet_sha256 VARCHAR NOT NULL,
    method_version VARCHAR NOT NULL,
    software VARCHAR NOT NULL,
    assessed_utc TIMESTAMP NOT NULL,
    outcome VARCHAR NOT NULL,            -- 'judged' or 'no conclusion'
    reason VARCHAR NOT NULL,             -- as versions before 13 wrote it; since then see `said`
    made_m DOUBLE NOT NULL,
    steady_m DOUBLE NOT NULL,
    on_reels_m DOUBLE NOT NULL,
    scrap_m DOUBLE NOT NULL,
    folder VARCHAR NOT NULL,
    duration_s DOUBLE NOT NULL
)
