"""What a process of this program asks of its libraries before they are imported; a host's own process is left alone."""

import os


def one_thread_each() -> None:
    """Have linear algebra run on one thread, and freed memory given back at once, where nothing else is asked for.

    Sums by several threads differ in their last digits from one machine to another, and on matrices as small as ours
    the threads only wait for each other. Polars' allocator otherwise keeps up to 0.3 GB of a day's log while the next
    is read; giving it back costs 0 to 4 % of processor time. Both are read when the library is first imported.
    """
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    os.environ.setdefault("_RJEM_MALLOC_CONF", "dirty_decay_ms:0,muzzy_decay_ms:0")
