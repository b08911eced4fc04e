"""What holds for any readings at all."""

import json
from dataclasses import replace
from decimal import Decimal
from typing import Any

import pytest
from coil_cases import METERS
from coil_cases import case as coil_case
from depth import examples
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from assistant.language import verdict_wording
from assistant.measure.classify import classify
from assistant.measure.coil import LEADS_MOST_OHM, SECONDARY_BAD_OHM, Class
from assistant.measure.limits import CoilLimits, Limit
from assistant.measure.meter import Meter
from assistant.measure.units import Numeral, Quantity, Reading, Shown, Unit
from assistant.measure.verdict import FAULTS, TRIES, Case, Electronics, Stroke, Tap, VerdictKind, judge
from assistant.measure.warm import WARM_TAPS
from assistant.report.verdict_json import as_json

_OPEN = (VerdictKind.REPEAT, VerdictKind.UNDECIDED)
_RANGES = st.none() | st.sampled_from([200, 2_000, 20_000, 200_000, 2_000_000, 4_000])

_OHMS = ["0.05", "0.1", "0.4", "0.5", "1.4", "1.4", "2.5", "9.9", "10", "10.1", "10.5", "45", "99", "100", "101", "300"]
_KILOHMS = [
    "1.49", "1.5", "2.5", "4.2", "4.20", "4.25", "4.30", "4.32", "4.35", "4.4", "4.8", "9.8", "19.9", "20", "20.1", "50", "99",
    "100", "100.5", "101", "105", "300", "2300",
]  # fmt: skip
_WILD = st.builds(
    lambda digits, places, unit: Quantity(Numeral(f"{Decimal(digits).scaleb(-places):f}"), unit),
    st.integers(0, 10**9),
    st.integers(0, 12),
    st.sampled_from(Unit),
)


def _readings(digits: list[str], unit: Unit) -> st.SearchStrategy[Reading]:
    """Values around the edges of classes most of the time, else anything a display or a person could come up with."""
    edges = st.sampled_from(digits).map(lambda text: Quantity(Numeral(text), unit))
    bound = st.none() | edges
    value = st.builds(lambda quantity, full: Reading(Shown.VALUE, quantity, range_ohm=full), edges | _WILD, _RANGES)
    usual = edges.map(lambda quantity: Reading(Shown.VALUE, quantity))
    over = st.builds(lambda full: Reading(Shown.OVER_RANGE, range_ohm=full), _RANGES)
    unsteady = st.builds(lambda low, high: Reading(Shown.UNSTEADY, low=low, high=high), bound, bound)
    return st.one_of(usual, usual, usual, value, over, unsteady)


_PRIMARY, _SECONDARY = _readings(_OHMS, Unit.OHM), _readings(_KILOHMS, Unit.KILOHM)


def _attempts(readings: st.SearchStrategy[Reading]) -> st.SearchStrategy[tuple[Reading, ...]]:
    several = st.lists(readings, max_size=4).map(tuple)
    return st.one_of(several, readings.map(lambda reading: (reading,)), readings.map(lambda reading: (reading,) * 2))


_SIDES = st.none() | st.decimals(0, 200_000, places=2)


@st.composite
def _limits(draw: st.DrawFn) -> Limit | None:
    low, high = draw(_SIDES), draw(_SIDES)
    if low is None and high is None:
        return None
    if low is not None and high is not None:
        low, high = sorted((low, high))
    return Limit(low, high, draw(st.none() | st.decimals(-60, 300, places=0)), draw(st.none() | st.booleans()))


_HOT = {way.fault: tap for tap, way in WARM_TAPS.items()}
"""Rows that condemn what breaks when it is hot, and which winding."""

_CASES = st.builds(
    Case,
    meter=st.sampled_from(list(METERS.values())),
    stroke=st.sampled_from(Stroke),
    electronics=st.sampled_from(Electronics),
    leads=st.none() | _PRIMARY,
    primary=_attempts(_PRIMARY),
    secondary=_attempts(_SECONDARY),
    killtab=_attempts(_SECONDARY),
    limits=st.builds(CoilLimits, _limits(), _limits()),
    coil_at_c=st.none() | st.decimals(-60, 300, places=0),
    cap_on=st.none() | st.booleans(),
    repeated=st.frozensets(st.sampled_from(Tap)),
    symptoms=st.lists(st.sampled_from(["dies_hot", "no_spark", "starts_badly", "hums"]), max_size=2).map(tuple),
    declined=st.frozensets(st.sampled_from(Tap)),
    warm=_attempts(_SECONDARY),
    warm_at_c=st.none() | st.decimals(-60, 300, places=0),
    warm_primary=_attempts(_PRIMARY),
)


def says_and_keeps(case: Case) -> None:
    """Every case has a verdict, in whole sentences and in JSON."""
    verdict = judge(case)
    kept = as_json(verdict)
    assert json.loads(json.dumps(kept)) == kept
    said = [verdict_wording.say(verdict), *verdict_wording.because(verdict), *verdict_wording.next_steps(verdict)]
    for sentence in said:
        assert sentence.endswith(".")
        assert "{" not in sentence
        assert "E+" not in sentence
    assert said[0] in verdict_wording.report(verdict, case, "7", "")


def condemns_on_repeats_only(case: Case) -> None:
    """No fault rests on a single reading."""
    verdict = judge(case)
    if verdict.kind in FAULTS and verdict.row not in _HOT:
        by = {VerdictKind.PRIMARY_FAULT: {Tap.PRIMARY, Tap.KILLTAB}, VerdictKind.SECONDARY_FAULT: {Tap.SECONDARY}}
        for tap in by.get(verdict.kind, {Tap.PRIMARY, Tap.SECONDARY}):
            assert len(case.attempts(tap)) > 1 or tap in case.repeated


def condemns_only_what_reads_badly_twice(case: Case) -> None:
    """Both readings that condemn a winding speak against it by themselves; above its range is not enough."""
    verdict = judge(case)
    if verdict.kind not in FAULTS or verdict.row in _HOT:
        return
    seen = classify(case)
    if verdict.kind is not VerdictKind.PRIMARY_FAULT:
        assert {attempt.kind for attempt in seen.secondary[-2:]} == {Class.BAD}
    if verdict.kind is VerdictKind.PRIMARY_FAULT:
        assert {attempt.kind for attempt in seen.primary[-2:]} == {Class.SUSPICIOUS}
    if verdict.kind is VerdictKind.WINDING_FAULT:
        assert {attempt.kind for attempt in seen.primary[-2:]} <= {Class.RAISED, Class.SUSPICIOUS}


def condemns_hot_only_what_breaks_twice_and_reads_well_cold(case: Case) -> None:
    """A hot fault has two hot readings without a winding's value, a cold one that is good, and no cap that may be open."""
    verdict = judge(case)
    if verdict.row not in _HOT:
        return
    tap = _HOT[verdict.row]
    secondary = tap is Tap.SECONDARY
    assert verdict.kind is (VerdictKind.SECONDARY_FAULT if secondary else VerdictKind.PRIMARY_FAULT)
    assert verdict.result(tap).kind in (Class.USUAL, Class.NEAR, *(() if secondary else (Class.TOO_SMALL,)))
    assert not (secondary and case.cap_on)
    assert len(case.hot(tap)) > 1
    for reading in case.hot(tap)[-2:]:
        assert reading.quantity is None or reading.quantity.ohms >= WARM_TAPS[tap].open_ohm


def condemns_only_through_leads_that_conduct(case: Case) -> None:
    """Open leads never condemn a coil."""
    if judge(case).kind not in FAULTS:
        return
    values = [r for tap in Tap for r in case.attempts(tap) if r.quantity is not None]
    assert case.leads is not None or values
    assert case.leads is None or case.leads.quantity is not None
    if case.leads is not None and case.leads.quantity is not None and case.leads.quantity.ohms > LEADS_MOST_OHM:
        assert values


def condemns_only_with_a_comparison_that_fits(case: Case) -> None:
    """K beside a fault is what a broken winding makes of it: never lower than S, nor that of a winding that conducts."""
    verdict = judge(case)
    if verdict.kind not in FAULTS or verdict.row in _HOT or verdict.killtab.measured is None:
        return
    if verdict.kind is VerdictKind.PRIMARY_FAULT:
        assert verdict.secondary.measured is not None
        assert verdict.killtab.measured.value_ohm > verdict.secondary.measured.value_ohm
    else:
        assert verdict.killtab.measured.value_ohm >= SECONDARY_BAD_OHM


def says_fault_only_when_it_condemns(case: Case) -> None:
    """The word is kept for the three kinds."""
    verdict = judge(case)
    assert ("fault" in verdict_wording.report(verdict, case, "", "")) is (verdict.kind in FAULTS)


def decides_nothing_while_it_asks(case: Case) -> None:
    """A wanted reading means no decision, and nothing declined is wanted."""
    verdict = judge(case)
    assert not set(verdict.take) & case.declined
    assert len(set(verdict.take)) == len(verdict.take)
    if verdict.take:
        assert verdict.kind in (*_OPEN, VerdictKind.BAD_CONTACT)
    else:
        assert not verdict.prepare
        assert verdict.kind is not VerdictKind.REPEAT


def a_worse_meter_decides_the_same_or_nothing(case: Case) -> None:
    """More uncertainty never turns "undecided" into a decision, nor one decision into another."""
    better = judge(case).kind
    for percent, counts in ((0, 1), (0, 30), (3, 0), (25, 300)):
        worse = judge(replace(case, meter=_worse(case.meter, percent, counts))).kind
        assert worse in _OPEN or worse is better


def _worse(meter: Meter, percent: int, counts: int) -> Meter:
    ranges = tuple(
        replace(range_, percent=range_.percent + percent, counts=range_.counts + counts) for range_ in meter.ranges
    )
    return replace(meter, ranges=ranges)


PROPERTIES = (
    says_and_keeps,
    condemns_on_repeats_only,
    condemns_only_what_reads_badly_twice,
    condemns_hot_only_what_breaks_twice_and_reads_well_cold,
    condemns_only_through_leads_that_conduct,
    condemns_only_with_a_comparison_that_fits,
    says_fault_only_when_it_condemns,
    decides_nothing_while_it_asks,
    a_worse_meter_decides_the_same_or_nothing,
)


@pytest.mark.no_cover
@given(_CASES)
def test_whatever_was_read(case: Case) -> None:
    for holds in PROPERTIES:
        holds(case)


@pytest.mark.no_cover
@pytest.mark.slow
@settings(max_examples=1_000, deadline=None)
@given(_CASES)
def test_whatever_was_read_many_times_over(case: Case) -> None:
    for holds in PROPERTIES:
        holds(case)


@pytest.mark.no_cover
@settings(max_examples=examples(50))
@given(_CASES, st.data())
def test_the_questions_come_to_an_end(case: Case, data: st.DataObject) -> None:
    """Whatever is answered: after at most so many readings of each pair of points, none is wanted any more."""
    for _ in range(len(Tap) * TRIES + 2):  # a secondary above its range is no try
        take = judge(case).take
        if not take:
            return
        attempts = (*case.attempts(take[0]), data.draw(_PRIMARY | _SECONDARY))
        more: dict[str, Any] = {take[0].value: attempts}
        case = replace(case, **more)
    pytest.fail("still asking")


_DECISIONS = FAULTS | {VerdictKind.SOUND, VerdictKind.ELECTRONICS}


def _as_displayed(reading: Reading, meter: Meter) -> Reading:
    """The same with every digit that this meter shows of it."""
    if reading.quantity is None:
        return reading
    range_ = meter.range_for(reading)
    shown_ohm = (reading.quantity.ohms / range_.resolution_ohm).quantize(Decimal(1)) * range_.resolution_ohm
    return _in_ohms(shown_ohm, range_.full_ohm)


def _moved(reading: Reading, meter: Meter, part: Decimal) -> Reading:
    """The same moved by a part of half its last digit, from -1 to 1; what lies between the digits is written out."""
    if reading.quantity is None:
        return reading
    half_ohm = meter.range_for(reading).resolution_ohm / 2
    return _in_ohms(max(Decimal(0), reading.quantity.ohms + part * half_ohm), reading.range_ohm)


def _in_ohms(value_ohm: Decimal, range_ohm: int | None) -> Reading:
    return Reading(Shown.VALUE, Quantity(Numeral(f"{value_ohm:f}"), Unit.OHM), range_ohm=range_ohm)


_TAKEN = ("primary", "secondary", "killtab", "warm", "warm_primary")


@pytest.mark.no_cover
@settings(max_examples=examples(300), deadline=None)
@given(_CASES, st.data())
def test_no_decision_hangs_on_half_a_digit(case: Case, data: st.DataObject) -> None:
    """Readings moved within half their last digit never turn one decision into another: between two decisions lies "undecided".

    Undecided is what a verdict is "within the meter's doubt" of the edge that carries it; a bad contact decides nothing.
    """
    ohms = [reading for name in _TAKEN for reading in getattr(case, name) if reading.quantity is not None]
    assume(all(reading.quantity.ohms < 10**7 for reading in ohms))
    shown: dict[str, Any] = {
        name: tuple(_as_displayed(reading, case.meter) for reading in getattr(case, name)) for name in _TAKEN
    }
    parts = st.decimals(-1, 1, places=2)
    moved: dict[str, Any] = {
        name: tuple(_moved(one, case.meter, data.draw(parts)) for one in shown[name]) for name in _TAKEN
    }
    kinds = {judge(replace(case, **readings)).kind for readings in (shown, moved)}
    assert len(kinds & _DECISIONS) <= 1, kinds


def test_what_a_digit_could_turn_is_said_to_be_within_the_meters_doubt() -> None:
    """Just above the edges that carry a condemning verdict, and clear of them."""
    for near, clear in (
        (("850", "100.1k", "OL"), ("850", "150k", "OL")),
        (("100.5", "4.70k", "OL"), ("300", "4.70k", "OL")),
    ):
        for readings, doubt in ((near, True), (clear, False)):
            twice = [f"{text} {text}" for text in readings]
            said = " ".join(verdict_wording.because(judge(coil_case(*twice, electronics=Electronics.NO))))
            assert ("the meter's own doubt reaches across" in said) is doubt, readings
