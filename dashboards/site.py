"""Where pages are written: one folder that works from a disk, a memory stick or a plain file server."""

from __future__ import annotations

import dataclasses
import hashlib
import json
import os
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass
from datetime import date, datetime
from functools import cache, lru_cache
from importlib.resources import files
from operator import attrgetter
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dashboards.addresses import PageKind, address
from pipeline.errors import Complaint, StoreError

# Writes workbooks in the reader's browser: write-excel-file 4.1.1 (npm), MIT, as published but for its source map and
# the notice at its head.
WORKBOOK_SCRIPT = "write-excel-file.min.js"
ASSETS = (
    "reelproof.css",
    "first.js",
    "save.js",
    "page.js",
    "picture.js",
    "figures.js",
    "run.js",
    "process.js",
    "index.js",
    WORKBOOK_SCRIPT,
)
# What only the review site needs.
DESK_SCRIPT = "desk.js"
PLOT_SCRIPT = "plotly.min.js"


@dataclass(frozen=True, slots=True)
class WrittenFile:
    """A file of the site: its address from the root, whether this call changed it on disk, and its hash."""

    address: str
    changed: bool
    sha256: str = ""


@dataclass(frozen=True, slots=True)
class Site:
    """A folder of pages.

    Args:
        folder: root of the site.
        pages: addresses that exist or will be written; a link to any other is shown as plain text. None links
            to everything.
        served: whether the review site shows it, which puts who is signed in and what they may do on each page.
    """

    folder: Path
    pages: frozenset[str] | None = None
    served: bool = False

    def links_to(self, kind: PageKind, record_id: str = "") -> bool:
        """Whether there is, or will be, such a page."""
        return self.pages is None or address(kind, record_id) in self.pages


def _force_out(part: Path, content: bytes) -> None:
    """Write a file and force it onto the disk, so that a power cut leaves no empty page."""
    with part.open("wb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())


def write_if_changed(site: Site, where: str, content: bytes) -> WrittenFile:
    """Puts `content` at address `where` of the site, and leaves the file alone if it holds just that.

    Args:
        site: the site.
        where: address from its root.
        content: bytes of the file.

    Raises:
        StoreError: the file cannot be written.
    """
    path = site.folder / where
    digest = hashlib.sha256(content).hexdigest()
    try:
        with suppress(FileNotFoundError):
            if path.stat().st_size == len(content) and path.read_bytes() == content:
                return WrittenFile(where, False, digest)
        part = path.with_name(f".{path.name}.part")
        try:
            _force_out(part, content)
        except FileNotFoundError:
            path.parent.mkdir(parents=True, exist_ok=True)
            _force_out(part, content)
        part.replace(path)
    except OSError as fault:
        raise StoreError(
            Complaint(
                str(path),
                f"the page cannot be written ({fault.strerror or fault})",
                "Check the free space and your permission on that folder, or name another one",
            )
        ) from None
    return WrittenFile(where, True, digest)


@lru_cache(maxsize=16)
def asset(name: str) -> bytes:
    """Bytes of an asset of the pages; the plotting script comes from the plotly package."""
    if name == PLOT_SCRIPT:
        return (files("plotly") / "package_data" / PLOT_SCRIPT).read_bytes()
    return (files("dashboards") / "assets" / name).read_bytes()


@lru_cache(maxsize=16)
def asset_mark(name: str) -> str:
    """Eight hex digits that change with the asset, so that a browser never shows a page with an old one."""
    return hashlib.sha256(asset(name)).hexdigest()[:8]


@lru_cache(maxsize=1)
def style_mark() -> str:
    """Eight hex digits that change when any template, asset or module of the pages does."""
    digest = hashlib.sha256()
    for path in sorted(Path(str(files("dashboards"))).rglob("*")):
        if path.suffix in {".py", ".j2", ".css", ".js"}:
            digest.update(path.name.encode() + b"\0" + path.read_bytes())
    return digest.hexdigest()[:8]


def write_assets(site: Site) -> tuple[WrittenFile, ...]:
    """Puts the style sheet, the scripts and the one plotting script beside the pages."""
    names = (*ASSETS, *((DESK_SCRIPT,) if site.served else ()), PLOT_SCRIPT)
    return tuple(write_if_changed(site, f"assets/{name}", asset(name)) for name in names)


@cache
def _values_of(kind: Any) -> Callable[[Any], tuple[Any, ...]]:
    """What gives the name of a record's class and its fields, in the order of their names."""
    return attrgetter("__class__.__name__", *sorted(field.name for field in dataclasses.fields(kind)))


def _plain(value: Any, hash_of: Callable[[NDArray[Any]], str]) -> Any:
    """What JSON does not know, as what it knows: a record as a list, an array by the hash of its bytes."""
    kind: Any = type(value)
    if hasattr(kind, "__dataclass_fields__"):
        return _values_of(kind)(value)
    if isinstance(value, np.ndarray):
        return {"array": hash_of(value), "n": value.size}
    if isinstance(value, datetime | date):
        return value.isoformat()
    if isinstance(value, Mapping):
        return {str(key): one for key, one in value.items()}
    raise TypeError(f"a record may not hold {kind.__name__}")


def record_sha256(record: Any) -> str:
    """SHA-256 of a record's content (canonical JSON; arrays by the hash of their bytes), hexadecimal."""
    hashes: dict[int, str] = {}  # traces share their places

    def hash_of(array: NDArray[Any]) -> str:
        if id(array) not in hashes:
            hashes[id(array)] = hashlib.sha256(np.ascontiguousarray(array).data).hexdigest()
        return hashes[id(array)]

    text = json.dumps(
        record,
        default=lambda value: _plain(value, hash_of),
        ensure_ascii=False,
        check_circular=False,
        sort_keys=True,
        separators=(",", ":"),
    )
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()
