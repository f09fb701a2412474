"""What processes of one machine share: how many are worth it, that each ends with its parent and gives memory back."""

from __future__ import annotations

import ctypes
import gc
import os
import signal
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from multiprocessing import parent_process
from threading import Thread


def cores() -> int:
    """Cores this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def give_back() -> None:
    """Give freed memory back to the machine; the C library of Linux keeps it, and a worker lives for many runs."""
    with suppress(AttributeError, OSError, TypeError):
        ctypes.CDLL(None).malloc_trim(0)


# As the interpreter begins: of two threads that make pages neither takes the other's for it.
_SWEPT_AFTER = gc.get_threshold()


@contextmanager
def seldom_swept() -> Iterator[None]:
    """Look for objects that hold each other a seventieth as often.

    A page is made of hundreds of thousands of objects of which none does; looking for some took a tenth of the work.
    """
    gc.set_threshold(50_000, *_SWEPT_AFTER[1:])
    try:
        yield
    finally:
        gc.set_threshold(*_SWEPT_AFTER)


def begin_as_worker(begin: Callable[..., None] | None = None, *arguments: object) -> None:
    """See to it that a worker ends without a word when its user stops the program, and when that is killed.

    Args:
        begin: what it does besides, and before it works.
        *arguments: its arguments.
    """
    signal.signal(signal.SIGINT, signal.SIG_DFL)
    if hasattr(signal, "pthread_sigmask"):
        signal.pthread_sigmask(signal.SIG_UNBLOCK, {signal.SIGINT})

    def watch() -> None:
        parent = parent_process()
        if parent is not None:
            parent.join()
            os._exit(1)

    Thread(target=watch, daemon=True).start()
    if begin is not None:
        begin(*arguments)
