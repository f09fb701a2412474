"""The sheets a plant writes by hand: plant, line and run, as TOML checked as a whole."""
