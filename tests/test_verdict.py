"""The verdict table and the judgement: every row, the order of questions, and what published coils get."""

import re
from decimal import Decimal
from itertools import chain, combinations, product
from typing import Any

import pytest
from check_rows import CheckRow, rows
from coil_cases import METERS, case, plain, reading

from assistant.measure.limits import CoilLimits, Limit, Points
from assistant.measure.verdict import (
    CLASSES,
    FAULTS,
    VERDICTS,
    Because,
    Case,
    Class,
    Electronics,
    Prepare,
    Stroke,
    Tap,
    Verdict,
    VerdictKind,
    judge,
    row_for,
)

P, S, K = Tap.PRIMARY, Tap.SECONDARY, Tap.KILLTAB
_OPEN = (VerdictKind.REPEAT, VerdictKind.UNDECIDED)


def _because(verdict: Verdict) -> list[tuple[Because, Tap | None]]:
    return [(reason.because, reason.tap) for reason in verdict.reasons]


# ---- the table


_SETTLED = [frozenset(taps) for taps in chain.from_iterable(combinations(Tap, size) for size in range(4))]
_EVERYTHING = list(product(CLASSES[P], CLASSES[S], CLASSES[K], Electronics, _SETTLED))


def test_the_table_has_a_row_for_everything_and_no_row_too_many() -> None:
    """Every combination of classes, electronics and repeats finds a row; every row is found by some combination."""
    found = {row_for(*combination).id for combination in _EVERYTHING}
    assert found == {row.id for row in VERDICTS}
    assert len(VERDICTS) == len(found)


def test_what_hides_in_a_bad_secondary_is_never_looked_for_in_the_primary_alone() -> None:
    for p, electronics in product(CLASSES[P][1:], Electronics):
        row = row_for(p, Class.BAD, Class.BLIND, electronics, frozenset(Tap))
        assert (row.kind, row.again) == (VerdictKind.UNDECIDED, (S, K))


def test_no_row_condemns_without_repeats() -> None:
    for row in VERDICTS:
        if row.kind in FAULTS:
            assert row.again, row.id
            assert row.meanwhile not in FAULTS, row.id
    condemning = {row.kind: set(row.again) for row in VERDICTS if row.kind in FAULTS}
    assert condemning == {
        VerdictKind.PRIMARY_FAULT: {P, K},
        VerdictKind.SECONDARY_FAULT: {S},
        VerdictKind.WINDING_FAULT: {P, S},
    }


def test_a_coil_is_condemned_only_by_readings_that_speak_against_it() -> None:
    good_s = (Class.USUAL, Class.NEAR)
    for p, s, k, electronics, settled in _EVERYTHING:
        kind = row_for(p, s, k, electronics, settled).kind
        if kind is VerdictKind.PRIMARY_FAULT:
            assert p is Class.SUSPICIOUS
            assert s in good_s
            assert electronics is Electronics.NO
        if kind in (VerdictKind.SECONDARY_FAULT, VerdictKind.WINDING_FAULT):
            assert s is Class.BAD
        if kind in FAULTS:
            assert k in (Class.HIGH, Class.UNSTEADY, Class.OPEN)
        if kind is VerdictKind.SOUND:
            assert p in (Class.USUAL, Class.NEAR, Class.TOO_SMALL)
            assert s in good_s
            assert k in (Class.SAME, Class.NOT_TAKEN)


# ---- one case for every way through it

_NO: dict[str, Any] = {"electronics": Electronics.NO}
_YES: dict[str, Any] = {"electronics": Electronics.YES}

CASES: list[tuple[str, str, str, dict[str, Any], str, str, tuple[Tap, ...]]] = [
    # primary, secondary, killtab, more, row, kind, take
    ("", "", "", {}, "primary-missing", "undecided", (P, S)),
    ("", "4.2k", "", {}, "primary-missing", "undecided", (P,)),
    ("1.4", "", "", {}, "secondary-missing", "undecided", (S,)),
    ("", "", "", {"declined": frozenset({P})}, "primary-missing", "undecided", (S,)),
    ("", "4.2k", "", {"declined": frozenset({P})}, "primary-missing", "undecided", ()),
    ("1.4", "4.2k", "", {}, "sound", "sound", ()),
    ("1.4", "4.2k", "4.2k", {}, "sound", "sound", ()),
    ("0.3", "4.2k", "", {}, "sound", "sound", ()),
    ("7.0", "15.0k", "", {}, "sound", "sound", ()),
    ("OL 1.4", "4.2k", "", {}, "sound", "sound", ()),
    ("1.4", "4.20k", "4.32k", {}, "killtab-unclear", "repeat", (K,)),
    ("1.4", "4.20k", "4.32k 4.32k", {}, "killtab-unclear", "undecided", ()),
    ("1.4", "4.2k", "OL", {}, "contradiction", "repeat", (K, P)),
    ("1.4", "4.2k", "OL OL", {}, "contradiction", "repeat", (P,)),
    ("1.4 1.4", "4.2k", "OL OL", {}, "contradiction", "undecided", ()),
    ("1.4", "4.2k", "OL 4.2k", {}, "sound", "sound", ()),
    ("45", "4.2k", "", {}, "primary-raised", "repeat", (P,)),
    ("45 1.4", "4.2k", "", {}, "sound", "sound", ()),
    ("45 40", "4.2k", "", {}, "killtab-wanted", "undecided", (K,)),
    ("45 40", "4.2k", "OL", {}, "electronics", "electronics", ()),
    ("45 40", "4.20k", "4.20k", {}, "killtab-blind", "undecided", ()),
    ("45 40", "4.20k", "4.24k", {}, "killtab-blind", "undecided", ()),
    ("300 300", "4.2k", "4.2k", {}, "killtab-blind", "undecided", ()),
    ("300", "4.2k", "4.2k", {}, "killtab-blind", "repeat", (P,)),
    ("45", "4.2k", "", {"declined": frozenset({P})}, "primary-raised", "undecided", ()),
    ("300", "4.2k", "", {}, "killtab-wanted", "undecided", (K,)),
    ("300", "4.2k", "", {"declined": frozenset({K})}, "killtab-wanted", "undecided", ()),
    ("300", "4.2k", "OL", {}, "electronics", "electronics", ()),
    ("300", "4.2k", "OL", _YES, "electronics", "electronics", ()),
    ("OL", "4.2k", "jumping", {}, "electronics", "electronics", ()),
    ("jumping", "4.2k", "9.0k", {}, "electronics", "electronics", ()),
    ("300", "4.20k", "4.20k", {}, "primary-contact", "bad-contact", (P,)),
    ("300 300", "4.20k", "4.20k", {}, "primary-contact", "bad-contact", ()),
    ("300 1.4", "4.2k", "4.2k", {}, "sound", "sound", ()),
    ("300", "4.20k", "4.32k", {}, "killtab-unclear", "repeat", (K,)),
    ("300", "4.2k", "OL", _NO, "primary-fault", "repeat", (P, K)),
    ("300 310", "4.2k", "OL", _NO, "primary-fault", "repeat", (K,)),
    ("300 310", "4.2k", "OL jumping", _NO, "primary-fault", "primary-fault", ()),
    ("300", "4.2k", "OL", _NO | {"repeated": frozenset({P, K})}, "primary-fault", "primary-fault", ()),
    ("1.4 300", "4.2k", "OL OL", _NO, "primary-fault", "repeat", (P,)),
    ("1.4 300 1.4", "4.2k", "OL OL", _NO, "contradiction", "undecided", ()),
    ("1.4 1.4 300", "4.2k", "OL OL", _NO, "primary-fault", "undecided", ()),
    ("1.4", "800", "", {}, "secondary-low", "repeat", (S,)),
    ("1.4", "800 790", "", {}, "secondary-low", "undecided", ()),
    ("1.4", "4.7 4.7k", "", {}, "sound", "sound", ()),
    ("1.4", "50k", "", {}, "secondary-raised", "repeat", (S,)),
    ("1.4", "50k 52k", "", {}, "secondary-raised", "undecided", ()),
    ("1.4", "50k 4.7k", "", {}, "sound", "sound", ()),
    ("1.4", "OL@20000", "", {}, "secondary-beyond", "repeat", (S,)),
    ("1.4", "OL@20000 OL@20000", "", {}, "secondary-beyond", "undecided", ()),
    ("1.4", "OL@20000 50k", "", {}, "secondary-raised", "repeat", (S,)),
    ("1.4", "OL@20000 OL@200000", "", {}, "killtab-wanted-for-secondary", "undecided", (K,)),
    ("1.4", "OL@20000 OL@200000", "OL", {}, "secondary-fault", "repeat", (S,)),
    ("1.4", "OL@20000 OL@200000 OL@200000", "OL", {}, "secondary-fault", "secondary-fault", ()),
    ("1.4", "OL@20000 50k OL@200000", "OL", {}, "secondary-fault", "repeat", (S,)),
    ("1.4", "OL@20000 50k OL@200000 2.3M", "OL", {}, "secondary-fault", "secondary-fault", ()),
    ("1.4", "50k 4.2k OL", "OL", {}, "secondary-fault", "undecided", ()),
    ("1.4", "OL@20000 50k 4.2k OL", "OL", {}, "secondary-fault", "undecided", ()),
    ("300 300", "OL@20000 OL@200000", "OL", {}, "winding-fault", "repeat", (S,)),
    ("1.4", "OL", "4.2M", {"repeated": frozenset({S})}, "secondary-fault", "secondary-fault", ()),
    ("1.4", "OL OL", "50k", {}, "secondary-unclear", "repeat", (K,)),
    ("1.4", "OL OL", "1.0k 1.0k", {}, "secondary-unclear", "undecided", ()),
    ("300 300", "OL OL", "50k 50k", {}, "secondary-unclear", "undecided", ()),
    ("850", "6.5k", "OL", {}, "electronics", "electronics", ()),
    ("850", "6.5k", "3.0k", {}, "electronics", "electronics", ()),
    ("OL", "6.5k", "3.0k", _YES, "electronics", "electronics", ()),
    ("OL", "6.5k", "3.0k", _NO, "killtab-unexplained", "repeat", (K, P)),
    ("OL OL", "6.5k", "3.0k 3.0k", _NO, "killtab-unexplained", "undecided", ()),
    ("11 11", "6.5k", "13.0k 13.0k", _NO, "killtab-unexplained", "undecided", ()),
    ("850 850", "6.5k", "7.4k 7.4k", _NO, "primary-fault", "primary-fault", ()),
    ("OL OL", "6.5k", "13.0k OL", _NO, "primary-fault", "primary-fault", ()),
    ("OL OL", "6.5k", "3.0k OL", _NO, "primary-fault", "repeat", (K,)),
    ("OL", "6.5k", "OL", _NO | {"repeated": frozenset({P, K})}, "primary-fault", "primary-fault", ()),
    ("1.4", "OL", "", {}, "killtab-wanted-for-secondary", "undecided", (K,)),
    ("1.4", "OL", "", {"declined": frozenset({K})}, "killtab-wanted-for-secondary", "undecided", ()),
    ("1.4", "OL", "4.7k", {}, "core-contact", "bad-contact", (S,)),
    ("300", "OL", "4.7k", {}, "core-contact", "bad-contact", (S,)),
    ("1.4", "OL OL", "4.7k", {}, "core-contact", "bad-contact", ()),
    ("1.4", "OL", "OL", {}, "secondary-fault", "repeat", (S,)),
    ("1.4", "OL", "OL", {"declined": frozenset({S})}, "secondary-fault", "undecided", ()),
    ("1.4", "OL 2.3M", "OL", {}, "secondary-fault", "secondary-fault", ()),
    ("1.4", "OL", "OL", {"repeated": frozenset({S})}, "secondary-fault", "secondary-fault", ()),
    ("1.4", "4.2k OL", "OL", {}, "secondary-fault", "repeat", (S,)),
    ("1.4", "4.2k OL", "OL", {"repeated": frozenset(Tap)}, "secondary-fault", "repeat", (S,)),
    ("1.4", "50k OL 4.2k", "4.2k", {}, "sound", "sound", ()),
    ("1.4", "OL OL", "OL", {"cap_on": True}, "secondary-fault", "undecided", ()),
    ("1.4", "100.1k 100.1k", "OL", {}, "secondary-fault", "undecided", ()),
    ("300", "OL", "OL", {}, "winding-fault", "repeat", (P, S)),
    ("300 300", "OL", "OL", {}, "winding-fault", "repeat", (S,)),
    ("300", "OL", "OL", {"declined": frozenset({P})}, "winding-fault", "undecided", ()),
    ("300 300", "OL OL", "OL", {}, "winding-fault", "winding-fault", ()),
    ("300 300", "OL OL", "OL", _YES, "winding-fault", "winding-fault", ()),
    ("10.5 10.5", "4.2k", "OL", {}, "electronics", "undecided", ()),
    ("10.5 10.5", "4.2k", "OL OL", _NO, "killtab-unexplained", "undecided", ()),
    ("18 18", "4.2k", "OL OL", _NO, "killtab-unexplained", "undecided", ()),
    ("100.5 100.5", "4.2k", "OL OL", _NO, "primary-fault", "undecided", ()),
    ("18 300", "4.2k", "OL OL", _NO, "primary-fault", "repeat", (P,)),
    ("18 300 300", "4.2k", "OL OL", _NO, "primary-fault", "primary-fault", ()),
    ("300 18", "4.2k", "", {}, "killtab-wanted", "undecided", (K,)),
    ("18 300 18", "4.2k", "", {}, "killtab-wanted", "undecided", (K,)),
]


@pytest.mark.parametrize(
    ("given", "row", "kind", "take"),
    [pytest.param(case(p, s, k, **more), *expected, id=f"{p};{s};{k}") for p, s, k, more, *expected in CASES],
)
def test_the_judgement(given: Case, row: str, kind: str, take: tuple[Tap, ...]) -> None:
    verdict = judge(given)
    assert (verdict.row, verdict.kind.value, verdict.take) == (row, kind, take)


def test_every_row_is_reached_by_a_case() -> None:
    assert {row.id for row in VERDICTS} == {row for *_, row, _, _ in CASES}


_BROKEN: list[tuple[str, str, str, dict[str, Any], VerdictKind]] = [
    ("OL OL", "4.2k", "OL OL", _NO, VerdictKind.PRIMARY_FAULT),
    ("1.4", "OL OL", "OL", {}, VerdictKind.SECONDARY_FAULT),
    ("300 300", "OL OL", "OL", {}, VerdictKind.WINDING_FAULT),
    ("OL OL", "OL OL", "OL", {}, VerdictKind.WINDING_FAULT),
    ("jumping jumping", "jumping jumping", "OL", {}, VerdictKind.WINDING_FAULT),
    ("OL OL", "OL OL", "2.3M", {}, VerdictKind.WINDING_FAULT),
]
_UNREAD, _BEFORE = Because.LEADS_UNPROVEN, Because.LEADS_BEFORE_FAULT


@pytest.mark.parametrize(
    ("leads", "doubts"),
    [
        ("0.3", (None, None, None, None, None, None)),
        ("1.0", (None, None, None, None, None, None)),
        ("", (None, None, None, _UNREAD, _UNREAD, None)),
        ("1.1", (None, _BEFORE, _BEFORE, _BEFORE, _BEFORE, _BEFORE)),  # less such leads, 1.4 Ω is no usual primary
        ("50k", (_BEFORE,) * 6),  # these are not believed beside what was read through them
        ("OL", (_BEFORE,) * 6),
        ("jumping", (_BEFORE,) * 6),
        ("1001M", (_BEFORE,) * 6),
    ],
)
def test_leads_come_before_a_fault(leads: str, doubts: tuple[Because | None, ...]) -> None:
    for (p, s, k, more, kind), doubt in zip(_BROKEN, doubts, strict=True):
        verdict = judge(case(p, s, k, leads=leads, **more))
        said = {because for because, _ in _because(verdict)} & {_UNREAD, _BEFORE}
        assert verdict.kind is (VerdictKind.UNDECIDED if doubt else kind), (p, s, k)
        assert said == ({doubt} if doubt else set())
        assert (verdict.next[0] == "leads") is bool(doubt)


def test_leads_that_are_not_right_are_named_before_the_repeat_too() -> None:
    verdict = judge(case("OL", "OL", "OL", leads=""))
    assert (verdict.kind, verdict.take) == (VerdictKind.REPEAT, (P, S))
    assert (_UNREAD, None) in _because(verdict)


@pytest.mark.parametrize(("p", "s", "k"), [("300", "4.2k", "OL"), ("1.4", "4.2k", ""), ("1.4", "OL", "4.7k")])
def test_leads_stand_in_the_way_of_nothing_but_a_fault(p: str, s: str, k: str) -> None:
    good, bad = (judge(case(p, s, k, leads=leads)) for leads in ("0.3", "OL"))
    assert good.kind is bad.kind
    assert (_BEFORE, None) not in _because(bad)


# ---- what is said along with it


@pytest.mark.parametrize(
    ("p", "s", "k", "prepare"),
    [
        ("45", "4.2k", "", (Prepare.CLEAN_CORE, Prepare.CLEAN_TAB)),
        ("1.4", "800", "", (Prepare.SAY_UNIT,)),
        ("1.4", "50k", "", (Prepare.LEAD_AND_CAP_OFF, Prepare.CLEAN_CORE)),
        ("1.4", "OL@20000", "", (Prepare.HIGHER_RANGE, Prepare.LEAD_AND_CAP_OFF, Prepare.CLEAN_CORE)),
        ("1.4", "OL", "4.7k", (Prepare.CLEAN_CORE,)),
        ("1.4", "OL", "", ()),
        ("300", "4.2k", "", ()),
        ("1.4", "4.2k", "", ()),
    ],
)
def test_what_to_do_before_the_next_reading(p: str, s: str, k: str, prepare: tuple[Prepare, ...]) -> None:
    assert judge(case(p, s, k)).prepare == prepare


@pytest.mark.parametrize(
    ("p", "s", "k", "more", "because"),
    [
        ("OL 1.4", "4.2k", "", {}, (Because.FIRST_WAS_CONTACT, P)),
        ("1.4", "OL 4.2k", "", {}, (Because.FIRST_WAS_CONTACT, S)),
        ("1.4", "4.2k", "OL 4.2k", {}, (Because.FIRST_WAS_CONTACT, K)),
        ("1.4", "4.7 4.7k", "", {}, (Because.FIRST_DIFFERED, S)),
        ("1.4", "800 790", "", {}, (Because.STAYED, S)),
        ("1.4", "800 790", "", {}, (Because.NO_MAKERS_FIGURE, None)),
        ("300 300", "4.2k", "OL", {}, (Because.STAYED, P)),
        ("1.4", "OL OL", "OL", {}, (Because.KILLTAB_OPEN, K)),
        ("1.4", "OL OL", "9k", {}, (Because.KILLTAB_GOOD, K)),
        ("1.4", "OL@20000", "9k", {}, (Because.KILLTAB_GOOD, K)),
        ("1.4", "4.2M 4.2M", "4.2M", {}, (Because.KILLTAB_BAD_TOO, K)),
        ("1.4", "OL OL", "50k", {}, (Because.KILLTAB_BETWEEN, K)),
        ("300", "4.20k", "4.50k", {}, (Because.KILLTAB_HIGH, K)),
        ("OL", "4.2k", "3.0k", _NO, (Because.KILLTAB_UNEXPLAINED, None)),
        ("100.5 100.5", "4.2k", "OL OL", _NO, (Because.IN_DOUBT, P)),
        ("1.4", "19.80k", "OL@20000", {}, (Because.KILLTAB_RANGE_TOO_LOW, K)),
        ("1.4", "4.2k", "9k", {}, (Because.KILLTAB_DIFFERS, K)),
        ("1.4", "4.20k", "3.0k 4.2k", {}, (Because.FIRST_DIFFERED, K)),
        ("1.4", "4.2k OL OL", "OL", {}, (Because.FIRST_WAS_GOOD, S)),
        ("1.4", "OL", "OL", {"declined": frozenset({S})}, (Because.REPEAT_DECLINED, S)),
        ("45", "4.2k", "", {"declined": frozenset({P})}, (Because.REPEAT_DECLINED, P)),
        ("300", "4.2k", "", {}, (Because.ELECTRONICS_UNKNOWN, P)),
        ("300", "4.2k", "", {"declined": frozenset({K})}, (Because.ELECTRONICS_UNKNOWN, P)),
        ("300", "4.2k", "", {"declined": frozenset({K})}, (Because.PRIMARY_ALONE, P)),
        ("300", "4.2k", "", _YES, (Because.ELECTRONICS_YES, P)),
        ("300", "4.2k", "", _NO, (Because.PRIMARY_ALONE, P)),
        ("45 45", "4.2k", "", {}, (Because.ELECTRONICS_UNKNOWN, P)),
        ("300", "4.20k", "4.32k", {}, (Because.PRIMARY_ALONE, P)),
        ("1.4", "4.2k", "jumping", {}, (Because.KILLTAB_UNSTEADY, K)),
        ("1.4", "4.2k", "4.2k", {}, (Because.KILLTAB_AGREES, K)),
        ("1.4", "4.20k", "4.32k", {}, (Because.KILLTAB_UNCLEAR, K)),
        ("300", "4.2k", "OL", {}, (Because.ELECTRONICS_UNKNOWN, P)),
        ("300", "4.2k", "OL", _YES, (Because.ELECTRONICS_YES, P)),
        ("300 300", "OL OL", "OL", _YES, (Because.ELECTRONICS_YES, P)),
        ("300 300", "4.2k", "OL OL", _NO, (Because.ELECTRONICS_NO, None)),
        ("300 300", "OL OL", "OL", {}, (Because.SECONDARY_CONDEMNS, None)),
        ("1.4", "OL", "OL", {}, (Because.TAKE_AGAIN, S)),
        ("1.4", "OL", "", {}, (Because.MISSING, K)),
        ("1.4", "OL", "", {"declined": frozenset({K})}, (Because.DECLINED, K)),
        ("1.4 1.4 300", "4.2k", "OL OL", _NO, (Because.DOES_NOT_REPEAT, P)),
        ("1.4", "OL OL", "OL", {"cap_on": True}, (Because.CAP_BEFORE_FAULT, S)),
        ("1.4", "100.1k 100.1k", "OL", {}, (Because.IN_DOUBT, S)),
        ("10.5 10.5", "4.2k", "OL", {}, (Because.IN_DOUBT, P)),
        ("1.4", "OL@20000", "", {}, (Because.RANGE_TOO_LOW, None)),
    ],
)
def test_the_reasons(p: str, s: str, k: str, more: dict[str, Any], because: tuple[Because, Tap | None]) -> None:
    assert because in _because(judge(case(p, s, k, **more)))


def test_a_steady_good_coil_gets_no_reason_about_repeats() -> None:
    found = {because for because, _ in _because(judge(case("1.4 1.4", "4.2k 4.2k", "4.2k 4.2k")))}
    assert found == {Because.CLASS, Because.KILLTAB_AGREES}


@pytest.mark.parametrize(
    ("p", "s", "k", "more", "absent"),
    [
        ("1.4", "4.2M 4.2M", "4.2M", {}, Because.KILLTAB_DIFFERS),
        ("1.4", "", "4.2k", {}, Because.KILLTAB_UNCLEAR),
        ("1.4", "19.80k", "OL@20000", {}, Because.KILLTAB_UNCLEAR),
        ("1.4", "4.20k", "3.0k 4.2k", {}, Because.FIRST_WAS_CONTACT),
        ("1.4", "4.2k OL", "OL", {}, Because.FIRST_WAS_GOOD),
        ("1.4", "OL OL", "OL", {}, Because.FIRST_WAS_GOOD),
        ("1.4", "OL", "OL", {"declined": frozenset({S})}, Because.DECLINED),
        ("1.4", "OL", "", {"declined": frozenset({K})}, Because.REPEAT_DECLINED),
        ("45", "4.2k", "", {}, Because.ELECTRONICS_UNKNOWN),
        ("300", "4.20k", "4.20k", {}, Because.ELECTRONICS_UNKNOWN),
        ("300", "4.2k", "OL", {}, Because.PRIMARY_ALONE),
    ],
)
def test_what_is_not_said(p: str, s: str, k: str, more: dict[str, Any], absent: Because) -> None:
    assert absent not in {because for because, _ in _because(judge(case(p, s, k, **more)))}


_MAKERS = CoilLimits(secondary=Limit(Decimal(5_900), Decimal(7_100)))


@pytest.mark.parametrize("s", ["1.2k 1.2k", "30k 30k"])
def test_no_makers_figure_is_asked_for_where_it_was_given(s: str) -> None:
    with_, without = (
        {because for because, _ in _because(judge(case("1.4", s, limits=limits)))}
        for limits in (_MAKERS, CoilLimits(primary=Limit(None, Decimal(2))))
    )
    assert (Because.LIMITS_ALONE in with_, Because.NO_MAKERS_FIGURE in with_) == (True, False)
    assert (Because.LIMITS_ALONE in without, Because.NO_MAKERS_FIGURE in without) == (False, True)


@pytest.mark.parametrize(("s", "said"), [("18k", False), ("6k", True), ("7k", True), ("6.50k", False)])
def test_a_meter_is_called_too_coarse_only_where_it_leaves_a_doubt(s: str, said: bool) -> None:  # noqa: FBT001 - a parameter of the test
    """Digits left out leave a doubt of ± 0.6 kΩ, as wide as the limits allow; 18 kΩ is plainly outside all the same."""
    limits = CoilLimits(secondary=Limit(Decimal(6_000), Decimal(7_000)))
    assert ((Because.CANNOT_DECIDE, S) in _because(judge(case("1.4", s, limits=limits)))) is said


@pytest.mark.parametrize(("p", "s", "k"), [("300", "4.2k", "OL"), ("300", "OL", "OL"), ("300", "4.2k", "4.2k")])
def test_without_electronics_they_explain_nothing(p: str, s: str, k: str) -> None:
    found = {because for because, _ in _because(judge(case(p, s, k, **_NO)))}
    assert not found & {Because.ELECTRONICS_YES, Because.ELECTRONICS_UNKNOWN}


def test_before_the_repeat_nothing_is_said_to_condemn() -> None:
    assert (Because.SECONDARY_CONDEMNS, None) not in _because(judge(case("300", "OL", "OL")))


def test_a_meter_that_cannot_decide_is_told_so() -> None:
    limits = CoilLimits(primary=Limit(Decimal("0.24"), Decimal("0.36")))
    coarse, fine = (
        judge(case("0.30", "6.3k", leads="", meter=METERS[name], limits=limits)) for name in ("pocket", "fine")
    )
    assert (Because.CANNOT_DECIDE, P) in _because(coarse)
    assert (Because.CANNOT_DECIDE, P) not in _because(fine)


@pytest.mark.parametrize(("coil_at_c", "said"), [(None, True), (Decimal(35), False)])
def test_an_unknown_temperature_is_mentioned(coil_at_c: Decimal | None, said: bool) -> None:  # noqa: FBT001 - a parameter of the test
    limits = CoilLimits(secondary=Limit(Decimal(5_900), Decimal(7_100), Decimal(20)))
    verdict = judge(case("1.4", "6.5k", limits=limits, coil_at_c=coil_at_c))
    assert ((Because.TEMPERATURE_UNKNOWN, S) in _because(verdict)) is said


def test_a_warm_coil_is_judged_at_the_limits_temperature() -> None:
    limits = CoilLimits(secondary=Limit(Decimal(5_900), Decimal(7_100), Decimal(20)))
    cold, warm = (judge(case("1.4", "7.40k", limits=limits, coil_at_c=Decimal(at))) for at in (20, 60))
    assert cold.secondary.kind is Class.NEAR
    assert warm.secondary.kind is Class.USUAL


def test_a_case_refuses_a_temperature_that_no_bench_has() -> None:
    with pytest.raises(ValueError, match="temperature"):
        case("1.4", coil_at_c=Decimal(4000))


# ---- what comes next


@pytest.mark.parametrize(
    ("symptoms", "first", "absent"),
    [
        ((), "plug", "warm again"),
        (("dies_hot",), "warm again", "air gap"),
        (("hard_restart_hot", "starts_badly"), "warm again", "nothing"),
        (("no_spark",), "plug", "warm again"),
        (("lacks_top_speed",), "plug", "kill switch"),
        (("hums",), "plug", "warm again"),
    ],
)
def test_the_ladder_fits_the_symptoms(symptoms: tuple[str, ...], first: str, absent: str) -> None:
    found = judge(case("1.4", "4.2k", symptoms=symptoms)).next
    assert found[0] == first
    assert absent not in found
    assert found[-1] == "known-good coil"


def test_nothing_else_comes_next_while_a_reading_is_wanted() -> None:
    verdict = judge(case("1.4", "OL", "OL"))
    assert verdict.next == ()
    assert verdict.cautions == ("stopped engine",)


@pytest.mark.parametrize(("p", "s", "k"), [("1.4", "OL OL", "OL"), ("1.4", "800 800", "")])
def test_the_manual_comes_first_where_money_is_at_stake(p: str, s: str, k: str) -> None:
    assert judge(case(p, s, k)).next[0] == "manual"


def test_cautions_follow_the_next_steps() -> None:
    whole = judge(case("1.4", "4.2k")).cautions
    assert whole == ("spark voltage", "lead open", "fuel vapour", "turning parts", "piercing", "manual first")


@pytest.mark.parametrize(
    ("given", "key", "there"),
    [
        (case("1.4", "4.2k"), "shorted turns", True),
        (case("1.4", "4.2k"), "insulation", True),
        (case("1.4", "4.2k"), "no comparison", True),
        (case("1.4", "4.2k", "4.2k"), "no comparison", False),
        (case("1.4", "4.2k"), "general bands", True),
        (case("1.4", "4.2k"), "primary short", False),
        (case("0.3", "4.2k"), "primary short", True),
        (case("1.4", "4.2k", symptoms=("dies_hot",)), "cold only", True),
        (case("1.4", "4.2k"), "cold only", False),
        (case("300", "4.2k", "OL"), "electronics work", True),
        (case("1.4", "OL OL", "OL"), "rest of engine", True),
        (case("1.4", "OL OL", "OL"), "shorted turns", False),
    ],
)
def test_what_stays_open(given: Case, key: str, there: bool) -> None:  # noqa: FBT001 - a parameter of the test
    assert (key in judge(given).unproven) is there


def test_with_both_makers_limits_no_general_band_is_used() -> None:
    limit = Limit(Decimal(1), Decimal(9_000))
    assert "general bands" not in judge(case("1.4", "4.2k", limits=CoilLimits(limit, limit))).unproven
    assert "general bands" in judge(case("1.4", "4.2k", limits=CoilLimits(limit, None))).unproven


# ---- published coils


_FROM_TERMINAL = re.compile(r"kill-lead|primary terminal|\+ terminal|lead terminal|pin A")
"""How the table's manuals name the primary's terminal, from which they measure through both windings."""


def _limit(row: CheckRow, winding: str) -> Limit | None:
    low, high = row.maybe(f"{winding}_low_ohm"), row.maybe(f"{winding}_high_ohm")
    on = row["cap_state"].startswith("on") and winding == "secondary"
    points = Points.CORE
    if winding == "secondary":
        told = row["secondary_points"]
        points = Points.OTHER if "between" in told else Points.KILLTAB if _FROM_TERMINAL.search(told) else Points.CORE
    at_c = row.maybe("reference_temperature_c")
    return None if low is None and high is None else Limit(low, high, at_c, on, points=points)


@pytest.mark.no_cover
@pytest.mark.parametrize(
    "meter", ["pocket", *(pytest.param(name, marks=pytest.mark.slow) for name in sorted(METERS) if name != "pocket")]
)
@pytest.mark.parametrize("electronics", Electronics)
@pytest.mark.parametrize("row", rows("coil_limits_published"))
def test_no_published_coil_is_condemned(row: CheckRow, electronics: Electronics, meter: str) -> None:
    """At the maker's middle value, with and without the limits, compared or not, everything taken twice: no coil fails."""
    p = row.maybe("expected_primary_mid_ohm") or Decimal(1)
    s = row.number("expected_secondary_mid_ohm")
    total = plain((p + s).quantize(Decimal(1)))
    on = row["cap_state"].startswith("on")
    own = CoilLimits(_limit(row, "primary"), _limit(row, "secondary"))
    stroke = {"2": Stroke.TWO, "4": Stroke.FOUR}[row["stroke"]]
    for stroke_, limits, killtab in product((stroke, Stroke.UNKNOWN), (CoilLimits(), own), ((), (total, total))):
        verdict = judge(
            Case(
                METERS[meter],
                stroke=stroke_,
                electronics=electronics,
                leads=reading("0.2"),
                primary=(plain(p + Decimal("0.2")),) * 2,
                secondary=(plain(s),) * 2,
                killtab=killtab,
                limits=limits,
                cap_on=on and limits is own,
                repeated=frozenset(Tap),
            )
        )
        assert row["expected_default_verdict"] == "not_fail"
        assert verdict.kind is VerdictKind.SOUND
        assert verdict.secondary.kind in (Class.USUAL, Class.NEAR)
        if limits is own:
            assert verdict.secondary.kind is Class.USUAL or own.at(S) is None
