"""Dispositions: the state the acts amount to, the second person, releases refused, two persons at once."""

import threading
from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.found import advice_of
from pipeline.nonconformance.decision import DecisionRule, decide
from pipeline.nonconformance.disposition import (
    MEANING,
    Act,
    ActKind,
    DecidedMeanwhile,
    Disposition,
    DispositionRefused,
    Extent,
    Person,
    as_seen_now,
    check_power,
    check_release,
    next_act,
    state_of,
    told_first,
)
from pipeline.nonconformance.finding import Sighting, join_findings, place_sighting
from pipeline.nonconformance.proposal import proposed
from pipeline.nonconformance.rules import RULES
from pipeline.wording.say import named

TECHNICIAN = Person("shift quality technician", "T-17")
ENGINEER = Person("quality engineer", "QE-1")
AT = datetime(2025, 3, 4, 6, 30, tzinfo=UTC)


def act(
    version: int,
    kind: ActKind,
    disposition: Disposition,
    by: Person = TECHNICIAN,
    reason: str = "seen on a slice",
    evidence: str = "",
) -> Act:
    return Act("R1-F03", version, kind, disposition, by, reason, AT + timedelta(minutes=version), evidence)


def after(*acts: Act, second_person: tuple[str, ...] = ()) -> tuple[Act, ...]:
    done: tuple[Act, ...] = ()
    for one in acts:
        done = next_act(done, one, second_person)
    return done


def standing(*acts: Act, second_person: tuple[str, ...] = ()) -> str:
    return state_of("R1-F03", after(*acts, second_person=second_person)).standing


def test_a_finding_is_open_until_decided_and_scrap_until_cut() -> None:
    assert standing() == "open"
    assert standing(act(1, "decide", "scrap")) == "decided"
    assert (
        standing(act(1, "decide", "scrap"), act(2, "complete", "scrap", evidence="cut record 12")) == "closed"
    )
    assert standing(act(1, "decide", "regrade")) == "closed"


def test_a_second_decision_is_refused_until_the_first_is_taken_back() -> None:
    first = act(1, "decide", "scrap")
    anew = act(2, "decide", "regrade", ENGINEER, "walls conform on slices")
    with pytest.raises(DispositionRefused) as told:
        after(first, anew)
    assert str(told.value) == (
        "R1-F03: scrap by shift quality technician (T-17) stands on it (decided), so regrade cannot be decided beside "
        "it. Take it back first: reelproof disposition R1-F03 reopen."
    )
    acts = after(first, act(2, "reopen", "scrap", ENGINEER), replace(anew, version=3))
    state = state_of("R1-F03", acts)
    assert (state.disposition, state.decided_by, state.version) == ("regrade", ENGINEER, 3)
    assert acts[0].disposition == "scrap"


def test_a_decision_that_waits_is_declined_or_taken_back_and_not_decided_over() -> None:
    waits = act(1, "decide", "concession")
    with pytest.raises(DispositionRefused) as told:
        after(waits, act(2, "decide", "scrap", ENGINEER), second_person=("concession",))
    assert str(told.value) == (
        "R1-F03: concession by shift quality technician (T-17) stands on it (awaiting a second person), so scrap "
        "cannot be decided beside it. Let another person confirm or decline it, or take it back first: reelproof "
        "disposition R1-F03 reopen."
    )
    assert standing(waits, act(2, "reopen", "concession"), second_person=("concession",)) == "open"


def test_a_second_person_confirms_or_declines() -> None:
    rule = ("concession",)
    decided = act(1, "decide", "concession")
    assert standing(decided, second_person=rule) == "awaiting a second person"
    assert standing(decided, act(2, "confirm", "concession", ENGINEER), second_person=rule) == "closed"
    assert standing(decided, act(2, "decline", "concession", ENGINEER), second_person=rule) == "open"
    with pytest.raises(DispositionRefused) as told:
        after(decided, act(2, "confirm", "concession", TECHNICIAN), second_person=rule)
    assert str(told.value) == (
        "R1-F03: shift quality technician (T-17) decided concession and cannot be the second person as well. "
        "Let another person confirm or decline it."
    )


def test_two_persons_are_told_apart_by_their_mark_alone() -> None:
    assert Person("technician", "0417").same_as(Person("engineer", "0417"))
    assert not Person("technician", "0417").same_as(Person("technician", "0418"))
    assert Person("technician", "qe-1 ").same_as(Person("engineer", "QE-1"))
    # One mark as keyboards, files and forms give it: full width, composed accents, hyphens, signs that nobody sees.
    typed = (
        "QE-1",
        "\uff31\uff25-1",
        "QE\u20111",
        "QE 1",
        "QE\u00a01",
        "Q\u00adE-1",
        "QE-1\u200b",
        "QE\ufe0f1",
    )
    assert {Person("engineer", one).mark for one in typed} == {"qe1"}
    assert Person("engineer", "Jos\u00e9").same_as(Person("manager", "JOSE\u0301"))
    assert not Person("engineer", "Jose").same_as(Person("manager", "Jos\u00e9"))
    # Vowels that are signs of their own tell persons apart; a mark of nothing but signs is no mark.
    assert not Person("engineer", "\u0915\u093f").same_as(Person("manager", "\u0915\u093e"))
    assert Person("engineer", "-- \u200b").mark == ""
    # Two roles may be one person: without both marks nobody is shown to be another.
    assert Person("technician").same_as(Person("engineer", "0418"))
    assert Person("technician", "0417").same_as(Person("engineer"))


UNMARKED = {
    "first": "R1-F03: by the plant's rule a second person must confirm release, and you give no mark of your own. "
    "Give --person, your mark in the plant.",
    "second": "R1-F03: the second person on release gives no mark of their own. Give --person, your mark in the "
    "plant; it must differ from the first person's.",
    "before": "R1-F03: quality engineer decided release without a person's mark, so nobody can be shown to be a second "
    "person. Take it back with 'reelproof disposition R1-F03 reopen' and decide again with --person.",
}


@pytest.mark.parametrize("which", UNMARKED)
def test_a_second_person_needs_both_marks(which: str) -> None:
    first = act(1, "decide", "release", Person("quality engineer") if which != "second" else ENGINEER)
    if which == "before":  # kept by an earlier version, which asked for no mark
        first = replace(first, waits=True)
    second = act(2, "confirm", "release", Person("quality manager", "QM-1" if which == "before" else ""))
    with pytest.raises(DispositionRefused) as told:
        if which == "before":
            next_act((first,), second, ("release",))
        else:
            after(first, second, second_person=("release",))
    assert str(told.value) == UNMARKED[which]


def test_a_role_that_the_sheet_does_not_list_is_refused_and_an_empty_list_allows_nobody() -> None:
    listed = ("quality engineer", "quality manager")
    check_power("L1-0411-01", "release", ENGINEER, listed)
    for by in (Person("night janitor", "J-1"), Person("Quality Engineer", "QE-1")):
        with pytest.raises(DispositionRefused) as told:
            check_power("L1-0411-01", "release", by, listed)
        assert str(told.value) == (
            f"L1-0411-01: by the plant's sheet the role '{by.role}' may not release. It is for quality "
            "engineer or quality manager."
        )
    with pytest.raises(DispositionRefused) as told:
        check_power("L1-0411-01", "lift hold", ENGINEER, ())
    assert str(told.value) == (
        "L1-0411-01: the plant's sheet lists no role that may lift hold. Enter the roles in the plant "
        'sheet, under [may_decide], as "lift hold" = ["quality engineer"]. Then judge by it: reelproof assess --plant '
        "SHEET."
    )


LOCAL = AT.astimezone(timezone(timedelta(hours=-6)))
REFUSED = {
    "R1-F03: the act 'decide' has no role or no reason. Give both.": [act(1, "decide", "scrap", reason=" ")],
    "R1-F03: it is open, so 'complete' does not apply. 'complete' applies to a subject that is decided.": [
        act(1, "complete", "scrap", evidence="cut record")
    ],
    "R1-F03: 'complete repair' was given while scrap is decided. Read the decision again and act on that.": [
        act(1, "decide", "scrap"),
        act(2, "complete", "repair", evidence="x"),
    ],
    "R1-F03: repair is said to be done without evidence. Name the test, sample or cut record that shows it.": [
        act(1, "decide", "repair"),
        act(2, "complete", "repair"),
    ],
    "R1-F03: act 3 would follow act 0. Give the next version.": [act(3, "decide", "repair")],
    "R1-F03: the time of the act is not in UTC. Give the time with the offset +00:00.": [
        Act("R1-F03", 1, "decide", "scrap", TECHNICIAN, "thin", LOCAL)
    ],
}


@pytest.mark.parametrize(("text", "acts"), REFUSED.items())
def test_acts_that_may_not_be_done_are_refused_in_full_sentences(text: str, acts: list[Act]) -> None:
    with pytest.raises(DispositionRefused) as told:
        after(*acts)
    assert str(told.value) == text


def test_a_time_without_an_offset_is_refused() -> None:
    with pytest.raises(DispositionRefused) as told:
        after(Act("R1-F03", 1, "decide", "scrap", TECHNICIAN, "thin", AT.replace(tzinfo=None)))
    assert str(told.value) == (
        "R1-F03: the time of the act is not in UTC. Give the time with the offset +00:00."
    )


def test_a_decision_keeps_the_rule_it_was_made_under() -> None:
    decided = after(act(1, "decide", "concession"), second_person=("concession",))
    assert decided[0].waits
    # The plant drops its rule afterwards; the old decision still waits, a new one does not.
    assert state_of("R1-F03", decided).standing == "awaiting a second person"
    anew = next_act(decided, act(2, "reopen", "concession"), ())
    anew = next_act(anew, act(3, "decide", "concession"), ())
    assert state_of("R1-F03", anew).standing == "closed"


def test_a_finding_that_has_grown_since_is_open_again() -> None:
    decision = replace(act(1, "decide", "regrade"), extent=Extent(100.0, 103.0, ("wall-average",)))
    state = state_of("R1-F03", after(decision))
    assert state.standing == "closed"
    for extent in (Extent(100.0, 103.0, ("wall-average",)), Extent(99.2, 103.9, ("wall-average",))):
        assert as_seen_now(state, extent) == state
    for extent in (
        Extent(100.0, 130.0, ("wall-average",)),
        Extent(90.0, 103.0, ("wall-average",)),
        Extent(100.0, 103.0, ("wall-average", "spark-fault")),
    ):
        again = as_seen_now(state, extent)
        assert (again.standing, again.disposition, again.version) == ("open", None, 1)
        with pytest.raises(DispositionRefused):
            check_release("K17", {"R1-F03": again})


def test_a_record_with_a_gap_decides_nothing() -> None:
    with pytest.raises(DispositionRefused) as told:
        state_of("R1-F03", [act(1, "decide", "scrap"), act(3, "decide", "repair")])
    assert str(told.value) == (
        "R1-F03: its acts carry the versions 1, 3. "
        "The record is not whole; restore it from the journal before deciding anything."
    )


def test_release_with_an_open_finding_is_refused() -> None:
    states = {
        "R1-F01": state_of("R1-F01", ()),
        "R1-F02": state_of("R1-F02", [Act("R1-F02", 1, "decide", "regrade", TECHNICIAN, "fits", AT)]),
        "R1-F03": state_of("R1-F03", after(act(1, "decide", "scrap"))),
    }
    with pytest.raises(DispositionRefused) as told:
        check_release("K17", states)
    assert str(told.value) == (
        "K17: release is refused: finding R1-F01 is open. "
        "Decide it, have it confirmed where the plant asks, and complete what was decided.\n"
        "K17: release is refused: finding R1-F03 is decided (scrap). "
        "Decide it, have it confirmed where the plant asks, and complete what was decided."
    )
    check_release("K17", {"R1-F02": states["R1-F02"]})
    check_release("K17", {})


def race(record: list[Act]) -> dict[str, str]:
    """Two persons who saw the same record write at once; what each is told."""
    outcome: dict[str, str] = {}
    lock, start = threading.Lock(), threading.Barrier(2)

    def write(who: Person, what: Disposition) -> None:
        mine = act(len(record) + 1, "decide", what, who)
        start.wait()
        with lock:  # stands for the store's unique (subject, version)
            try:
                record[:] = next_act(record, mine)
                outcome[who.role] = "won"
            except DecidedMeanwhile as told:
                outcome[who.role] = str(told)

    plans: list[tuple[Person, Disposition]] = [(TECHNICIAN, "scrap"), (ENGINEER, "regrade")]
    persons = [threading.Thread(target=write, args=plan) for plan in plans]
    for one in persons:
        one.start()
    for one in persons:
        one.join()
    return outcome


def test_of_two_persons_at_once_one_wins_and_the_other_is_told() -> None:
    for _ in range(50):
        record: list[Act] = []
        outcome = race(record)
        assert len(record) == 1
        winner = record[0]
        loser = (ENGINEER if winner.by == TECHNICIAN else TECHNICIAN).role
        assert outcome[winner.by.role] == "won"
        assert outcome[loser] == str(told_first(winner))
        assert outcome[loser] == (
            f"R1-F03: {winner.by} acted first (decide {winner.disposition} by {winner.by} on "
            "2025-03-04 06:31:00 UTC: seen on a slice). "
            "Nothing of yours was written; read that act and decide again if you still must."
        )


@settings(max_examples=200, deadline=None, derandomize=True)
@given(
    st.lists(
        st.tuples(
            st.sampled_from(["decide", "confirm", "decline", "complete", "reopen"]),
            st.sampled_from(list(MEANING)),
            st.sampled_from([TECHNICIAN, ENGINEER]),
        ),
        max_size=12,
    )
)
def test_whatever_is_tried_the_record_only_grows_and_closed_means_decided(
    tries: list[tuple[ActKind, Disposition, Person]],
) -> None:
    rule = ("concession", "release")
    acts: tuple[Act, ...] = ()
    for kind, disposition, by in tries:
        before = acts
        try:
            acts = next_act(acts, act(len(acts) + 1, kind, disposition, by, evidence="slice 4"), rule)
        except DispositionRefused:
            assert acts == before
            continue
        assert acts[: len(before)] == before
        state = state_of("R1-F03", acts)
        assert (state.disposition is None) == (state.standing == "open")
        if state.standing == "closed" and state.disposition in rule:
            decided = [one for one in acts if one.kind == "decide"][-1]
            confirmed = acts[-1]
            assert confirmed.kind == "confirm"
            assert confirmed.by != decided.by
    assert state_of("R1-F03", tuple(reversed(acts))) == state_of("R1-F03", acts)


def test_every_rule_has_a_proposal_and_none_without_evidence_of_nonconformity() -> None:
    texts = {"count": 1, "detail": "d"}
    for rule in RULES:
        if rule.requirement:
            verdicts = [
                decide(value, 0.004, 1.0, "at least", DecisionRule("guard band")) for value in (0.9, 1.0)
            ]
            seen = [Sighting(rule.rule_id, "G", 0, 1, 1, 0.9, 0.5, decision=one) for one in verdicts]
        else:
            seen = [place_sighting(rule.rule_id, 0, 1, instrument="G", subject="s", **texts)]
        for one in seen:
            (finding,) = join_findings("R1", [one])
            proposal = proposed(finding)
            assert named(advice_of(rule.rule_id)) in proposal.sentence
            if finding.verdict.value == "does not conform":
                assert proposal.disposition in MEANING
            elif rule.rule_id != "spark-voltage":
                assert proposal.disposition is None
                assert proposal.sentence.startswith("No disposition proposed: inspect it first. ")
