"""The order of work: load, judge, judge again, look over lines, thin, tune, watch."""
