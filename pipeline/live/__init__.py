"""Readings straight from a line's controls, kept on disk as a log that `pipeline.logs` reads like any other."""
