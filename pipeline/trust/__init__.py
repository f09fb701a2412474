"""Can the instruments be believed? Redundancy, repeatability, calibration, laboratory, gauge studies."""
