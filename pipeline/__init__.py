"""reelproof: quality evidence for insulated building wire, from line log to reel."""

import os

# Sums by several threads of a linear-algebra library differ in their last digits from one machine to another, and on
# matrices as small as ours the threads only wait for each other. Read by NumPy's library when it is first imported.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

__version__ = "0.1.0"
