"""Kinds of journal entries that more than one module writes or reads."""

ACCESS = "access log"
CLOCK = "clock set back"
HANDED_OUT = "export"
LOSS = "history lost"
SAMPLES_COMPARED = "samples"
SAMPLE_WITHDRAWN = "sample withdrawn"
SIGNED_ROOT = "signed root"
