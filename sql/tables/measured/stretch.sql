-- The wire in stretches of equal length: what each held, for judgements of store versions up to 5; later ones keep it as Parquet beside their readings. Grain: one row an assessment and stretch; wall and diameter each by its own place.
CREATE TABLE IF NOT EXISTS measured.stretch (
    assessment_id INTEGER NOT NULL,
    stretch INTEGER NOT NULL,
    from_m DOUBLE NOT NULL,
    to_m DOUBLE NOT NULL,
    wall_readings INTEGER NOT NULL,
    wall_known_m DOUBLE NOT NULL,
    mean_wall_mm DOUBLE,
    mean_wall_low_mm DOUBLE,
    mean_wall_high_mm DOUBLE,
    thinnest_wall_mm DOUBLE,
    ecc_cos_mm DOUBLE,
    ecc_sin_mm DOUBLE,
    eccentricity_high_mm DOUBLE,
    concentricity_low_pct DOUBLE,
    diameter_readings INTEGER NOT NULL,
    diameter_known_m DOUBLE NOT NULL,
    diameter_mm DOUBLE,
    diameter_low_mm DOUBLE,
    diameter_high_mm DOUBLE,
    ovality_high_mm DOUBLE
)
