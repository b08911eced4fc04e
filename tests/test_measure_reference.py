"""The arithmetic of doubt by others: a meter drawn from its published accuracy line, tried many times (in the manner of GUM
Supplement 1), and the same meter in two libraries for uncertainties.

Nothing here is made of the program's own parts: a budget that leaves out, doubles or does not share an error fails.
"""

import tomllib
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from decimal import Decimal
from functools import cache
from itertools import count, product
from math import sqrt
from typing import Any

import numpy as np
import pytest
from _pytest.mark import ParameterSet
from check_rows import CheckRow, row_of, rows
from coil_cases import POCKET, case

from assistant.data import texts
from assistant.measure.limits import COPPER_K_C, SHOP_HALF_SPAN_K, Limit, compared, copper_ratio
from assistant.measure.measured import Measured
from assistant.measure.meter import Meter, Range
from assistant.measure.units import Numeral, Quantity, Reading, Shown, Unit
from assistant.measure.verdict import Case, Tap, judge

_TRIALS = 100_000


# ---- the meter as its maker describes it


@dataclass(frozen=True, slots=True)
class Line:
    """One line of a maker's accuracy table: ± (percent of the reading + counts of the last digit)."""

    full_ohm: int
    digit_ohm: float
    percent: float
    counts: int

    def gain_ohm(self, value_ohm: float) -> float:
        return value_ohm * self.percent / 100

    def limit_ohm(self, value_ohm: float) -> float:
        return self.gain_ohm(value_ohm) + self.counts * self.digit_ohm

    def own_ohm(self, value_ohm: float) -> float:
        """The half width of a reading's own error, the display's rounding in it.

        A reading by itself has u = limit / √3 (the outside values of tests/checks/meter_accuracy.tsv); what the gain
        does not take of that belongs to the reading alone.
        """
        return sqrt(self.limit_ohm(value_ohm) ** 2 - self.gain_ohm(value_ohm) ** 2)


def _line_of(row: CheckRow) -> Line:
    figures = (float(row.number("resolution_ohm")), float(row.number("percent_of_reading")))
    return Line(int(row["range_ohm"]), *figures, int(row["counts"]))


def _lines() -> dict[str, tuple[Line, ...]]:
    """Every meter: those that come with the program, as their files say, and those of the check file, by its sources."""
    keys = ("full_ohm", "resolution_ohm", "percent", "counts")
    found = {
        name: tuple(Line(*(table[key] for key in keys)) for table in tomllib.loads(text)["range"])
        for name, text in texts("meters").items()
    }
    published: dict[str, dict[int, Line]] = {}
    for row in map(row_of, rows("meter_accuracy", "resistance_range")):
        line = _line_of(row)
        published.setdefault(row["source"].partition(" manual")[0], {})[line.full_ohm] = line
    return found | {source: tuple(line for _, line in sorted(lines.items())) for source, lines in published.items()}


LINES = _lines()


def meter_of(name: str) -> Meter:
    """The same meter as the program has it."""
    return Meter(name, name, hand_set=True, ranges=tuple(_range_of(line) for line in LINES[name]))


def _range_of(line: Line) -> Range:
    return Range(line.full_ohm, Decimal(str(line.digit_ohm)), Decimal(str(line.percent)), line.counts)


@dataclass(frozen=True, slots=True)
class Said:
    """A value in ohms as it was said, and the range it was read on."""

    text: str
    line: Line

    @property
    def ohms(self) -> float:
        return float(self.text)

    @property
    def step_ohm(self) -> float:
        """What its last digit is worth; more than the display's where fewer digits were said."""
        return max(self.line.digit_ohm, 10.0 ** -len(self.text.partition(".")[2]))

    @property
    def reading(self) -> Reading:
        return Reading(Shown.VALUE, Quantity(Numeral(self.text), Unit.OHM), range_ohm=self.line.full_ohm)


@dataclass(frozen=True, slots=True)
class CoilTest:
    """Three readings of a coil and what the leads showed, all on one meter."""

    meter: Meter
    primary: Said
    secondary: Said
    killtab: Said
    leads: Said

    def ours(self) -> tuple[Measured, ...]:
        """Primary, secondary and comparison less the leads, and K less P + S, as the program judges them."""
        verdict = judge(
            Case(
                self.meter,
                leads=self.leads.reading,
                primary=(self.primary.reading,),
                secondary=(self.secondary.reading,),
                killtab=(self.killtab.reading,),
            )
        )
        p, s, k = (verdict.result(tap).measured for tap in (Tap.PRIMARY, Tap.SECONDARY, Tap.KILLTAB))
        assert p is not None
        assert s is not None
        assert k is not None
        return p, s, k, k - (p + s)

    def others(self, of: Callable[[Said], Any]) -> tuple[Any, ...]:
        """The same four from whatever stands for a reading elsewhere; each reading is made once."""
        p, s, k, leads = map(of, (self.primary, self.secondary, self.killtab, self.leads))
        return p - leads, s - leads, k - leads, (k - leads) - (p - leads) - (s - leads)


def _tests() -> Iterator[ParameterSet]:
    """Every meter with every three readings of the check file, the leads read on the lowest range, or on the secondary's."""
    for (name, lines), parameter in product(LINES.items(), rows("series_parallel", "series_three_readings")):
        row = row_of(parameter)
        if row["kill_to_lead_ohm"] == "OL":
            continue

        def said(text: str, lines: tuple[Line, ...] = lines) -> Said:
            return Said(text, next(line for line in lines if float(text) <= line.full_ohm))

        p, s, k = (said(row[column]) for column in ("primary_ohm", "secondary_ohm", "kill_to_lead_ohm"))
        nought = "0.0" if s.line.digit_ohm < 1 else "0"
        for where, leads in (("lowest", said("0.3")), ("secondary", Said(nought, s.line))):
            yield pytest.param(CoilTest(meter_of(name), p, s, k, leads), id=f"{name}-{row['id']}-leads on {where}")


TESTS = list(_tests())


# ---- two libraries


class Library:
    """Readings as variables of a library: one gain for each range, an error of its own for every reading."""

    def __init__(self, variable: Callable[[float, str], Any]) -> None:
        self._variable = variable
        self._gains: dict[int, Any] = {}

    def of(self, said: Said) -> Any:
        line = said.line
        if line.full_ohm not in self._gains:
            self._gains[line.full_ohm] = self._variable(line.percent / 100 / sqrt(3), f"gain on {line.full_ohm}")
        found = said.ohms * (1 + self._gains[line.full_ohm]) + self._variable(line.own_ohm(said.ohms) / sqrt(3), "own")
        if said.step_ohm > line.digit_ohm:
            found = found + self._variable(said.step_ohm / 2 / sqrt(3), "digits left out")
        return found


@pytest.mark.parametrize("test", TESTS)
def test_windings_sums_and_differences_are_those_of_uncertainties(test: CoilTest) -> None:
    uncertainties = pytest.importorskip(
        "uncertainties", reason="uncertainties is not installed (it is in the test extra)"
    )
    ours = test.ours()
    others = test.others(Library(lambda u, _name: uncertainties.ufloat(0, u)).of)
    for mine, reference in zip(ours, others, strict=True):
        assert float(mine.value_ohm) == pytest.approx(reference.nominal_value, abs=1e-9)
        assert mine.u_ohm == pytest.approx(reference.std_dev, rel=1e-9)
    assert ours[2].scaled(Decimal("1.07")).u_ohm == pytest.approx((others[2] * 1.07).std_dev, rel=1e-9)


@pytest.mark.slow
@pytest.mark.parametrize("test", TESTS)
def test_a_difference_and_its_budget_are_those_of_gtc(test: CoilTest) -> None:
    gtc = pytest.importorskip("GTC", reason="gtc is not installed (it is in the test extra)")
    *_, ours = test.ours()
    *_, reference = test.others(Library(lambda u, name: gtc.ureal(0, u, label=name)).of)
    assert float(ours.value_ohm) == pytest.approx(reference.x, abs=1e-9)
    assert ours.u_ohm == pytest.approx(reference.u, rel=1e-9)
    budget = sorted(found.u for found in gtc.reporting.budget(reference, trim=0))
    least = 1e-9 * ours.u_ohm  # what cancels is left out of both lists
    listed = sorted(abs(part.u_ohm) for part in ours.parts)
    assert [u for u in listed if u > least] == pytest.approx([u for u in budget if u > least], rel=1e-6)


# ---- many trials


@cache
def _drawn(number: int) -> Any:
    """The same draws for every meter, each made once."""
    drawn = np.random.default_rng([5, number]).uniform(-1, 1, _TRIALS)
    drawn.flags.writeable = False
    return drawn


class Trials:
    """A meter tried many times: every trial has one gain for each range, and for each reading a true value, an error of
    the reading's own, and a display that rounds.

    `width` gives the half width of that own error in ohms, the rounding in it.
    """

    def __init__(self, width: Callable[[Line, float], float] = Line.own_ohm) -> None:
        self._numbers = count()
        self._gains: dict[int, Any] = {}
        self._width = width

    def _flat(self) -> Any:
        return _drawn(next(self._numbers))

    def error(self, said: Said) -> Any:
        """By how much the value said lies off the true one."""
        line = said.line
        gain = self._gains.setdefault(line.full_ohm, line.percent / 100 * self._flat())
        # what is true lies anywhere about the value said, so that no trial stands on the edge of a digit
        true = said.ohms + said.step_ohm / 2 * self._flat()
        rounding_ohm = line.digit_ohm / 2
        own = sqrt(self._width(line, said.ohms) ** 2 - rounding_ohm**2) * self._flat()
        shown = _rounded(true * (1 + gain) + own, line.digit_ohm)
        return (shown if said.step_ohm == line.digit_ohm else _rounded(shown, said.step_ohm)) - true


def _rounded(values: Any, digit_ohm: float) -> Any:
    """To the nearest digit, halves up: to even digits they would lean away from some values and towards others."""
    return np.floor(values / digit_ohm + 0.5 + 1e-9) * digit_ohm


@pytest.mark.slow
@pytest.mark.parametrize("test", TESTS)
def test_many_trials_agree_with_the_doubt(test: CoilTest) -> None:
    for mine, found in zip(test.ours(), test.others(Trials().error), strict=True):
        assert mine.expanded_ohm == pytest.approx(2 * float(np.std(found)), rel=0.05)
        assert np.mean(np.abs(found) <= mine.expanded_ohm) >= 0.95


@pytest.mark.slow
@pytest.mark.parametrize("test", TESTS)
def test_where_percent_and_counts_are_errors_apart_the_doubt_is_on_the_safe_side(test: CoilTest) -> None:
    """A maker may mean two errors, each within its own figure: they seldom go one way, so U is then too large, never too small."""
    apart = Trials(lambda line, _ohms: line.counts * line.digit_ohm)
    for mine, found in zip(test.ours(), test.others(apart.error), strict=True):
        assert mine.expanded_ohm >= 2 * float(np.std(found)) * 0.98


@pytest.mark.slow
@pytest.mark.parametrize("row", rows("meter_accuracy", "resistance_range"))
def test_many_trials_agree_for_every_range_of_the_check_file(row: CheckRow) -> None:
    line = _line_of(row)
    said = Said(row["reading_ohm"], line)
    quantity = said.reading.quantity
    assert quantity is not None
    meter = Meter("it", "it", hand_set=True, ranges=(_range_of(line),))
    ours = meter.measured(quantity, meter.lowest, "it")
    spread = 2 * float(np.std(Trials().error(said)))
    assert ours.expanded_ohm == pytest.approx(spread, rel=0.05)
    assert float(row.number("expected_u95_ohm")) == pytest.approx(spread, rel=0.05) or said.step_ohm > line.digit_ohm


@pytest.mark.slow
@pytest.mark.parametrize("celsius", [0, 20, 60, 120])
def test_many_trials_over_an_unknown_temperature_agree(celsius: int) -> None:
    """The straight line of copper is divided by a temperature that is not known: linear only as far as 15 K go."""
    measured = judge(case("1.4", "6.50k")).secondary.measured
    assert measured is not None
    limit = Limit(Decimal(5_900), Decimal(7_100), Decimal(celsius))
    ours = compared(measured, limit, None, cap_on=None).referred
    spread = float(SHOP_HALF_SPAN_K)
    coil_at_c = celsius + np.random.default_rng(7).uniform(-spread, spread, _TRIALS)
    ratio = (float(COPPER_K_C) + celsius) / (float(COPPER_K_C) + coil_at_c)
    assert float(copper_ratio(Decimal(celsius + 10), Decimal(celsius))) == pytest.approx(
        (float(COPPER_K_C) + celsius) / (float(COPPER_K_C) + celsius + 10)
    )
    lines = {line.full_ohm: line for line in LINES[POCKET.name]}
    trials = Trials()
    errors = trials.error(Said("6500", lines[20_000])) - trials.error(Said("0.3", lines[200]))
    found = (float(measured.value_ohm) + errors) * ratio
    assert ours.expanded_ohm == pytest.approx(2 * float(np.std(found)), rel=0.05)
