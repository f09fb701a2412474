"""Where on the wire a reading belongs: counter, stations, phases of the run, reels."""
