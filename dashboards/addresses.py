"""Which file a page is in: stable, safe on any file system, the same for the same id for ever."""

from __future__ import annotations

import hashlib
import re
from typing import Literal

PageKind = Literal[
    "index",
    "shift",
    "morning",
    "run",
    "reel",
    "lot",
    "finding",
    "containment",
    "nonconformance",
    "capability",
    "charts",
    "faults",
    "centring",
    "spectra",
    "overwall",
    "tuning",
    "settings",
    "compare",
    "data quality",
    "construction",
    "guide",
]
FOLDERS: dict[PageKind, str] = {
    "index": "",
    "shift": "shifts",
    "morning": "mornings",
    "run": "runs",
    "reel": "reels",
    "lot": "lots",
    "finding": "findings",
    "containment": "containments",
    "nonconformance": "nonconformance",
    "capability": "capability",
    "charts": "charts",
    "faults": "faults",
    "centring": "centring",
    "spectra": "spectra",
    "overwall": "overwall",
    "tuning": "tuning",
    "settings": "settings",
    "compare": "compare",
    "data quality": "data-quality",
    "construction": "constructions",
    "guide": "guides",
}

_PLAIN = re.compile(r"[A-Z0-9](?:[A-Z0-9._-]{0,58}[A-Z0-9_-])?|[A-Z0-9]")
_RESERVED = re.compile(r"(?:CON|PRN|AUX|NUL|COM\d|LPT\d)(?:\..*)?")


def slug(text: str) -> str:
    """A file name for an id: the id itself where it is plain, otherwise its plain part and eight hex digits.

    Plain is upper-case letters, digits, dot, dash and underline, 60 characters at most. Everything else,
    lower case included, gets a tilde and a digest of the whole id, so that two ids never share a file, not even
    on a file system that ignores case.

    Args:
        text: the id; it may hold any characters.
    """
    if _PLAIN.fullmatch(text) and not _RESERVED.fullmatch(text):
        return text
    digest = hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()[:8]
    kept = re.sub(r"[^A-Za-z0-9_-]+", "-", text).strip("-")[:48]
    return f"{kept}~{digest}" if kept else f"~{digest}"


def address(kind: PageKind, record_id: str = "") -> str:
    """The page's address relative to the root of the site, for example ``reels/R-1041.html``.

    Args:
        kind: kind of page.
        record_id: id of what it is about; "" for the one page of its kind that covers everything.
    """
    if kind == "index":
        return "index.html"
    if not record_id:
        return f"{FOLDERS[kind]}/index.html"
    return f"{FOLDERS[kind]}/{slug(record_id)}.html"


def from_page(page: str, target: str) -> str:
    """The relative link from the page at address `page` to `target`, both relative to the site's root."""
    return "../" * page.count("/") + target
