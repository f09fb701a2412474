-- How wall gauge, diameter gauge and conductor agree on the same wire. Grain: one row an assessment and stretch.
CREATE TABLE IF NOT EXISTS measured.agreement (
    assessment_id INTEGER NOT NULL,
    from_m DOUBLE NOT NULL,
    to_m DOUBLE NOT NULL,
    state VARCHAR NOT NULL,              -- 'green', 'amber', 'red' (no conclusion), 'unknown'
    chi2 DOUBLE,
    p DOUBLE,
    suspect VARCHAR NOT NULL,            -- the one instrument whose removal restores agreement, '' where none
    sentence VARCHAR NOT NULL            -- as versions before 12 wrote it; since then see `said`
)
