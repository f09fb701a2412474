"""reelproof: quality evidence for insulated building wire, from line log to reel.

At a notebook, ``from pipeline import open_store, load, assess, reel, plot, readings, tune, product``. Importing this
changes nothing in the process: each name is fetched when it is first asked for.
"""

from typing import TYPE_CHECKING, Any

__version__ = "0.1.0"

if TYPE_CHECKING:
    from pipeline.notebook import assess, load, open_store, plot, product, readings, reel, tune

__all__ = ["assess", "load", "open_store", "plot", "product", "readings", "reel", "tune"]


def __getattr__(name: str) -> Any:
    if name not in __all__:
        raise AttributeError(f"module 'pipeline' has no attribute '{name}'")
    from pipeline import notebook

    return getattr(notebook, name)


def __dir__() -> list[str]:
    return sorted([*globals(), *__all__])
