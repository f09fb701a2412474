"""Addresses of pages: stable, safe, and never shared by two ids."""

import re

from hypothesis import given, settings
from hypothesis import strategies as st

from dashboards.addresses import address, from_page, slug


def test_plain_ids_are_their_own_file_names() -> None:
    assert address("reel", "R-1041") == "reels/R-1041.html"
    assert address("shift", "2026-03-12-2") == "shifts/2026-03-12-2.html"
    assert address("index") == "index.html"
    assert address("capability") == "capability/index.html"
    assert from_page("reels/R-1.html", "runs/X.html") == "../runs/X.html"
    assert from_page("index.html", "runs/X.html") == "runs/X.html"


def test_names_that_a_file_system_keeps_for_itself_get_a_digest() -> None:
    assert slug("CON") != "CON"
    assert slug("NUL.1") != "NUL.1"
    assert slug("..") not in {"..", "."}
    assert slug("../../etc/passwd") == "etc-passwd~3754d6cb"
    assert slug("A.") != "A."


@settings(deadline=None)
@given(st.text(max_size=80), st.text(max_size=80))
def test_two_ids_never_share_a_file_even_where_case_is_ignored(one: str, other: str) -> None:
    for text in (one, other):
        assert re.fullmatch(r"[A-Za-z0-9._~-]{1,70}", slug(text))
        assert not slug(text).startswith(".")
    if one != other:
        assert slug(one).casefold() != slug(other).casefold()


def test_upper_and_lower_case_ids_stay_apart() -> None:
    assert slug("r-1041").casefold() != slug("R-1041").casefold()
