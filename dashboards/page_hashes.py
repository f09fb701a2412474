"""Are the pages as this program wrote them? Their hashes are kept beside them.

Whoever changes a page and this list together is not found by it: write the pages anew into an empty folder and compare.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Iterable, Mapping
from pathlib import Path

from pipeline.durable import write_whole
from pipeline.errors import Complaint, NotFoundError
from pipeline.regular_file import json_of_file, opened_regular

HASHES = ".hashes.json"


def kept_hashes(out: Path) -> dict[str, str]:
    """The hash of each file of the site in `out` by its address, as it was last written; empty where none is known."""
    try:
        known = json_of_file(out / HASHES)
    except (OSError, ValueError):
        return {}
    if not isinstance(known, dict):
        return {}
    return {address: digest for address, digest in known.items() if isinstance(digest, str)}


def keep_hashes(out: Path, written: Mapping[str, str], taken_away: Iterable[str]) -> None:
    """Keep the hashes of files that were written, beside those of files that stayed as they were.

    Args:
        out: root of the site.
        written: address -> SHA-256, hexadecimal.
        taken_away: addresses of pages that could not be written and are gone.
    """
    known = kept_hashes(out) | dict(written)
    for address in taken_away:
        known.pop(address, None)
    write_whole(out / HASHES, json.dumps(known, indent=0, sort_keys=True).encode())


def pages_changed(out: Path) -> tuple[str, ...]:
    """Everything among the pages in `out` that is not as it was written, a sentence each.

    Raises:
        NotFoundError: no hashes were kept there.
    """
    known = kept_hashes(out)
    if not known:
        raise NotFoundError(
            Complaint(
                str(out), "no hashes of pages are kept here", "Write the pages with 'reelproof pages' first"
            )
        )
    told = []
    for address, digest in sorted(known.items()):
        try:
            with opened_regular(out / address) as file:
                found = hashlib.file_digest(file, "sha256").hexdigest()
        except (OSError, ValueError):
            told.append(f"page {address}: it is missing or cannot be read.")
            continue
        if found != digest:
            told.append(f"page {address}: it is not as it was written.")
    there = {
        path.relative_to(out).as_posix() for path in out.rglob("*") if path.is_file() or path.is_symlink()
    }
    # Lists beside the pages, and what a killed writer left unfinished: a browser shows neither as a page.
    ours = {path for path in there if re.fullmatch(r"\.[a-z]+\.json|(.*/)?\.[^/]+\.part", path)}
    told += [
        f"page {address}: this program did not write it." for address in sorted(there - ours - known.keys())
    ]
    return tuple(told)
