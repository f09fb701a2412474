"""Where pages are written: one folder that works from a disk, a memory stick or a plain file server."""

from __future__ import annotations

import dataclasses
import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from functools import cache, lru_cache
from importlib.resources import files
from json.encoder import encode_basestring
from pathlib import Path
from typing import Any

import numpy as np

from dashboards.addresses import PageKind, address
from pipeline.errors import Complaint, StoreError

ASSETS = ("reelproof.css", "first.js", "page.js", "picture.js", "figures.js", "run.js", "index.js")
PLOT_SCRIPT = "plotly.min.js"


@dataclass(frozen=True, slots=True)
class Written:
    """A file of the site: its address from the root, and whether this call changed it on disk."""

    address: str
    changed: bool


@dataclass(frozen=True, slots=True)
class Site:
    """A folder of pages.

    Args:
        folder: root of the site.
        pages: addresses that exist or will be written; a link to any other is shown as plain text. None links
            to everything.
    """

    folder: Path
    pages: frozenset[str] | None = None

    def links_to(self, kind: PageKind, record_id: str = "") -> bool:
        """Whether there is, or will be, such a page."""
        return self.pages is None or address(kind, record_id) in self.pages


def write_if_changed(site: Site, where: str, content: bytes) -> Written:
    """Puts `content` at address `where` of the site, and leaves the file alone if it holds just that.

    Args:
        site: the site.
        where: address from its root.
        content: bytes of the file.

    Raises:
        StoreError: the file cannot be written.
    """
    path = site.folder / where
    try:
        if path.is_file() and path.stat().st_size == len(content) and path.read_bytes() == content:
            return Written(where, False)
        path.parent.mkdir(parents=True, exist_ok=True)
        part = path.with_name(f".{path.name}.part")
        part.write_bytes(content)
        part.replace(path)
    except OSError as fault:
        raise StoreError(
            Complaint(
                str(path),
                f"the page cannot be written ({fault.strerror or fault})",
                "Check the free space and your permission on that folder, or name another one",
            )
        ) from None
    return Written(where, True)


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


def write_assets(site: Site) -> tuple[Written, ...]:
    """Puts the style sheet, the scripts and the one plotting script beside the pages."""
    return tuple(write_if_changed(site, f"assets/{name}", asset(name)) for name in (*ASSETS, PLOT_SCRIPT))


@cache
def _fields_of(kind: Any) -> tuple[tuple[str, str], ...]:
    """Fields of a record's class, each after its name as JSON, and the name of the class as ``record``; sorted."""
    names = {field.name for field in dataclasses.fields(kind)}
    return tuple((f'"{name}":', name if name in names else "") for name in sorted({"record", *names}))


def _canonical(value: Any) -> str:
    """A record as JSON text, the same for the same record."""
    kind: Any = type(value)
    if kind is str:
        return encode_basestring(value)
    if value is None:
        return "null"
    if isinstance(value, float):
        return f'"{value!r}"'
    if isinstance(value, tuple | list):
        return f"[{','.join([_canonical(one) for one in value])}]"
    if hasattr(kind, "__dataclass_fields__"):
        parts = [
            name + (_canonical(getattr(value, field)) if field else f'"{kind.__name__}"')
            for name, field in _fields_of(kind)
        ]
        return f"{{{','.join(parts)}}}"
    if isinstance(value, np.ndarray):
        content = np.ascontiguousarray(value)
        return f'{{"array":"{hashlib.sha256(content.data).hexdigest()}","n":{content.size}}}'
    if isinstance(value, datetime | date):
        return f'"{value.isoformat()}"'
    if isinstance(value, Mapping):
        known = {str(key): one for key, one in value.items()}
        return (
            f"{{{','.join([f'{encode_basestring(key)}:{_canonical(known[key])}' for key in sorted(known)])}}}"
        )
    return json.dumps(value, ensure_ascii=False)


def record_sha256(record: Any) -> str:
    """SHA-256 of a record's content (canonical JSON; arrays by the hash of their bytes), hexadecimal."""
    return hashlib.sha256(_canonical(record).encode("utf-8", "surrogatepass")).hexdigest()
