"""reelproof: quality evidence for insulated building wire, from line log to reel."""

__version__ = "0.1.0"
