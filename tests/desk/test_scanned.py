"""A scanned tag opens its reel, warns where it is no longer true, and leads nowhere if this site did not print it."""

from __future__ import annotations

from pipeline.acts.holding import put_hold
from pipeline.record.standing import standing_of
from pipeline.record.tags import note_tag
from pipeline.store.database import open_to_write
from tests.acts.decided_store import ENGINEER
from tests.desk.site import PASSWORD, Site

REEL, OTHER = "L1-0412-01", "L1-0412-02"


def printed(site: Site, reel: str = REEL) -> tuple[int, str]:
    with open_to_write(site.store) as store:
        now = standing_of(store, reel)
        return note_tag(store, now, "line operator"), now.code


def test_a_tag_that_is_true_opens_its_reel_and_its_acts(site: Site) -> None:
    number, _ = printed(site)
    with site.signed_in("OP-1", "line operator") as browser:
        for where in (f"/tag/{REEL}/{number}", f"/8004/9521234{REEL}?tag={number}"):
            answer = browser.get(where)
            assert answer.status_code == 200 and answer.url.path == f"/reels/{REEL}.html"
            assert "/acts/hold" in answer.text


def test_whoever_is_not_signed_in_comes_to_the_reel_by_the_door(site: Site) -> None:
    number, _ = printed(site)
    site.account("OP-1", "line operator")
    with site.browser() as browser:
        where = f"/8004/9521234{REEL}?tag={number}"
        assert browser.get(where).url.path == "/sign-in"
        (form,) = [one for one in browser.forms(where) if one.action == "/sign-in"]
        assert browser.fill(form, name="OP-1", password=PASSWORD).url.path == f"/reels/{REEL}.html"


def test_a_tag_that_is_no_longer_true_warns(site: Site) -> None:
    number, before = printed(site)
    with site.signed_in("OP-1", "line operator") as browser:
        with open_to_write(site.store) as store:
            put_hold(store, REEL, ENGINEER, "scuffed")
        answer = browser.get(f"/tag/{REEL}/{number}")
        assert "This tag is out of date" in answer.text
        assert f"says that reel {REEL} is {before}. It is now: held." in answer.text
        assert f'href="/reels/{REEL}.html"' in answer.text
        newer, _ = printed(site)
        assert f"A newer tag of it was printed: {newer}" in browser.get(f"/tag/{REEL}/{number}").text
        assert browser.get(f"/tag/{REEL}/{newer}").url.path == f"/reels/{REEL}.html"


def test_a_tag_that_was_not_printed_here_leads_nowhere(site: Site) -> None:
    number, _ = printed(site)
    with site.signed_in("OP-1", "line operator") as browser:
        for where in (
            f"/tag/{OTHER}/{number}",
            f"/tag/{REEL}/{number + 1}",
            f"/tag/{REEL}/1",
            f"/tag/{REEL}/x",
            f"/tag/X{REEL}/{number}",
            f"/8004/{REEL}",
            f"/8004/{REEL}?tag=-1",
        ):
            answer = browser.get(where)
            assert answer.status_code == 404 and "Hold the reel back" in answer.text, where
