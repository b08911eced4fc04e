"""What holds for any readings at all."""

import json
from collections.abc import Callable
from dataclasses import dataclass, replace
from decimal import Decimal
from functools import lru_cache
from typing import Any

import pytest
from coil_cases import METERS
from coil_cases import case as coil_case
from coil_cases import readings as coil_readings
from depth import examples
from hypothesis import given, settings
from hypothesis import strategies as st

from assistant.language import report_wording, verdict_wording
from assistant.measure.classify import classify
from assistant.measure.coil import LEADS_MOST_OHM, SECONDARY_BAD_OHM, Class
from assistant.measure.limits import CoilLimits, Limit
from assistant.measure.meter import Meter
from assistant.measure.units import Numeral, Quantity, Reading, Shown, Unit
from assistant.measure.verdict import FAULTS, TRIES, Case, Electronics, Stroke, Tap, VerdictKind
from assistant.measure.verdict import judge as judge_anew
from assistant.measure.warm import WARM_TAPS
from assistant.report.verdict_json import as_json

judge = lru_cache(1)(judge_anew)
"""Every property of a case is asked of one verdict on it."""
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
    assert said[0] in report_wording.report(verdict, case, "7", "")


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
    assert ("fault" in report_wording.report(verdict, case, "", "")) is (verdict.kind in FAULTS)


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
@settings(deadline=None)
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
@settings(max_examples=examples(50), deadline=None)
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


@dataclass(frozen=True, slots=True)
class _Moved(Quantity):
    """What was shown, with the value taken to lie a part of half the last digit off; the digits said stay the same."""

    off_ohm: Decimal = Decimal(0)

    @property
    def ohms(self) -> Decimal:
        return max(Decimal(0), self.numeral.value.scaleb(self.unit.value) + self.off_ohm)


def _on_a_display(reading: Reading, meter: Meter) -> Reading:
    """The same as this meter shows it: on a range that holds it, with no more digits than that range has."""
    if reading.quantity is None:
        return reading
    range_ = meter.range_for(reading)
    step_ohm = max(reading.quantity.step_ohms, range_.resolution_ohm)
    counts = int(reading.quantity.ohms / step_ohm)
    if counts * step_ohm >= range_.full_ohm and range_ is not meter.highest:
        range_ = next(wider for wider in meter.ranges if wider.full_ohm > counts * step_ohm)
        step_ohm = max(step_ohm, range_.resolution_ohm)
    return replace(
        reading, quantity=_quantity(int(reading.quantity.ohms / step_ohm) * step_ohm), range_ohm=range_.full_ohm
    )


def _quantity(value_ohm: Decimal) -> Quantity:
    return Quantity(Numeral(f"{value_ohm:f}"), Unit.OHM)


def _elsewhere(reading: Reading, meter: Meter, part: Decimal) -> Reading:
    """The same with its value moved by a part of half its last digit, from -1 to 1."""
    if reading.quantity is None:
        return reading
    step_ohm = max(reading.quantity.step_ohms, meter.range_for(reading).resolution_ohm)
    moved = _Moved(reading.quantity.numeral, reading.quantity.unit, part * step_ohm / 2)
    return replace(reading, quantity=moved)


_TAKEN = ("primary", "secondary", "killtab", "warm", "warm_primary")
_PARTS = st.sampled_from([Decimal(-1), Decimal(1)]) | st.decimals(-1, 1, places=2)
DOUBT = "within the meter's doubt"


def _each(case: Case, change: Callable[[Reading], Reading]) -> Case:
    """A case with every reading changed."""
    taken: dict[str, Any] = {name: tuple(change(one) for one in getattr(case, name)) for name in _TAKEN}
    return replace(case, leads=case.leads and change(case.leads), **taken)


def stays_within_half_a_digit_or_says_so(case: Case, data: st.DataObject) -> None:
    """What is said of readings is said of any others within half their last digits, unless it is "within the meter's doubt"."""
    shown = _each(case, lambda reading: _on_a_display(reading, case.meter))
    verdict = judge(shown)
    moved = judge(_each(shown, lambda reading: _elsewhere(reading, case.meter, data.draw(_PARTS))))
    if verdict_wording.say(moved) != verdict_wording.say(verdict) or moved.kind is not verdict.kind:
        said = verdict_wording.because(verdict)
        assert any(DOUBT in sentence for sentence in said), (verdict_wording.say(verdict), verdict_wording.say(moved))


@pytest.mark.no_cover
@settings(max_examples=examples(200), deadline=None)
@given(_CASES, st.data())
def test_half_a_digit_changes_no_verdict_that_does_not_say_so(case: Case, data: st.DataObject) -> None:
    stays_within_half_a_digit_or_says_so(case, data)


_EDGES = {
    "primary": ("0.3", "0.4", "10.2", "10.3", "10.4", "10.8", "11.1", "100.2", "100.3", "100.4", "101.9", "102"),
    "secondary": ("1.50k", "1.49k", "20.0k", "20.1k", "100.0k", "100.1k", "101.2k", "101.3k", "4.20k"),
    "killtab": ("4.28k", "4.29k", "4.30k", "4.31k", "4.32k", "4.33k", "4.34k", "4.35k", "4.36k", "4.12k", "4.11k", "100.0k"),
    "warm": ("4.20k", "5.60k", "5.70k", "5.80k", "6.50k", "100.0k", "99.9k"),
}  # fmt: skip
_NEAR_EDGES = st.builds(
    lambda meter, leads, how, attempts: replace(
        coil_case(
            attempts[0], attempts[1], attempts[2], leads=leads, meter=meter, electronics=how[0], cap_on=how[1],
            warm_at_c=how[2], coil_at_c=how[2] and Decimal(20),
        ),
        warm=coil_readings(attempts[3]),
    ),
    st.sampled_from(list(METERS.values())),
    st.sampled_from(["", "0.3", "0.5", "1.0", "1.1"]),
    st.tuples(st.sampled_from(Electronics), st.none() | st.booleans(), st.none() | st.just(Decimal(90))),
    st.tuples(*(st.lists(st.sampled_from((*texts, "OL")), max_size=2).map(" ".join) for texts in _EDGES.values())),
)  # fmt: skip
"""No maker's limits, so that nothing else speaks of a doubt, and values on both sides of what a class ends at."""


@pytest.mark.no_cover
@pytest.mark.slow
@settings(max_examples=200, deadline=None)
@given(_NEAR_EDGES, st.data())
def test_nor_near_the_edges_of_the_classes(case: Case, data: st.DataObject) -> None:
    stays_within_half_a_digit_or_says_so(case, data)


@pytest.mark.no_cover
@pytest.mark.slow
@settings(max_examples=3_000, deadline=None)
@given(_CASES | _NEAR_EDGES, st.data())
def test_nor_many_times_over(case: Case, data: st.DataObject) -> None:
    stays_within_half_a_digit_or_says_so(case, data)
