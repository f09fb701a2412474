"""Finds figures on a page that lead nowhere: no link to what they stand on, and no word on how they were got.

A figure is led if its own place (the row of a table, the entry of a list of sums) has a link, the file and line of a
log, or the document a value is from; or if its section says how its figures were computed (``.how``, ``data-how``).
What stands inside a block that is opened by a click is itself the evidence.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from html.parser import HTMLParser

_FIGURE = re.compile(r"(?<![\w.:-])\d[\d,.\u202f]*")
_EMPTY = {"br", "img", "input", "meta", "link", "hr", "use", "circle", "path", "rect", "line", "col"}


class Element:
    """A part of a page with what it holds."""

    def __init__(self, tag: str, given: dict[str, str | None], parent: Element | None) -> None:
        self.tag, self.given, self.parent = tag, given, parent
        self.held: list[Element | str] = []

    @property
    def classes(self) -> list[str]:
        return (self.given.get("class") or "").split()

    @property
    def text(self) -> str:
        return "".join(one if isinstance(one, str) else f" {one.text} " for one in self.held)

    def within(self) -> Iterator[Element]:
        for one in self.held:
            if isinstance(one, Element):
                yield one
                yield from one.within()

    def around(self) -> Iterator[Element]:
        at = self.parent
        while at is not None:
            yield at
            at = at.parent


class _Reader(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.root = self.at = Element("", {}, None)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        made = Element(tag, dict(attrs), self.at)
        self.at.held.append(made)
        if tag not in _EMPTY:
            self.at = made

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.at.held.append(Element(tag, dict(attrs), self.at))

    def handle_endtag(self, tag: str) -> None:
        at = self.at
        while at.parent is not None and at.tag != tag:
            at = at.parent
        self.at = at.parent or self.root

    def handle_data(self, data: str) -> None:
        self.at.held.append(data)


def _leads(place: Element) -> bool:
    return any(
        (one.tag == "a" and one.given.get("href"))
        or one.tag == "code"
        or {"how", "source"} & set(one.classes)
        for one in place.within()
    )


def _told_how(place: Element) -> bool:
    section = next((one for one in place.around() if one.tag == "section"), None)
    return section is not None and any(
        "how" in one.classes or "data-how" in one.given for one in section.within()
    )


def unled(html: str) -> list[str]:
    """The places of a page whose figures lead nowhere, by a few words.

    Args:
        html: the page.
    """
    reader = _Reader()
    reader.feed(html)
    found = []
    for one in reader.root.within():
        is_row = one.tag == "tr" and any(up.tag == "tbody" for up in one.around())
        is_sum = one.tag == "div" and one.parent is not None and "sums" in one.parent.classes
        if not (is_row or is_sum) or any(up.tag == "details" for up in one.around()):
            continue
        told = one if is_row else next(k for k in one.within() if k.tag == "dd")
        if _FIGURE.search(told.text) and not _leads(told) and not _told_how(one):
            found.append(" ".join(one.text.split())[:60])
    return found
