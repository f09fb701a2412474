"""reelproof: quality evidence for insulated building wire, from line log to reel."""

import os

# Sums by several threads of a linear-algebra library differ in their last digits from one machine to another, and on
# matrices as small as ours the threads only wait for each other. Read by NumPy's library when it is first imported.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
# Polars' allocator otherwise keeps freed memory for a while: up to 0.3 GB of a day's log while the next is read. Taken
# note of when Polars is first imported; costs 0 to 4 % of processor time.
os.environ.setdefault("_RJEM_MALLOC_CONF", "dirty_decay_ms:0,muzzy_decay_ms:0")

__version__ = "0.1.0"
