"""Meter profiles: ranges, what a display can show, and how far a reading may be off."""

import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from itertools import pairwise
from math import sqrt
from typing import Any

from assistant.errors import BadData, Problem
from assistant.measure.measured import Measured, rectangular
from assistant.measure.units import Quantity, Reading


@dataclass(frozen=True, slots=True)
class Range:
    """One range: full scale, what the last digit is worth, accuracy as ±(percent of reading + counts).

    `offset_ohm` is what the display shows with the leads shorted on ranges that need it subtracted (a 200 MΩ range).
    """

    full_ohm: int
    resolution_ohm: Decimal
    percent: Decimal
    counts: int
    offset_ohm: Decimal = Decimal(0)

    def limit_ohm(self, value_ohm: Decimal) -> Decimal:
        """How far the meter may be off at this value: percent of the reading plus counts of the last digit."""
        return abs(value_ohm) * self.percent / 100 + self.counts * self.resolution_ohm


@dataclass(frozen=True, slots=True)
class Meter:
    """A meter profile. `ranges` stand lowest first, at least one.

    `hand_set` False: the meter chooses its range itself.
    """

    name: str
    title: str
    hand_set: bool
    ranges: tuple[Range, ...]

    @property
    def lowest(self) -> Range:
        """The range with the smallest full scale."""
        return self.ranges[0]

    @property
    def highest(self) -> Range:
        """The range with the largest full scale."""
        return self.ranges[-1]

    def at(self, full_ohm: int | None) -> Range | None:
        """The range of that full scale, None when the meter has none."""
        return next((range_ for range_ in self.ranges if range_.full_ohm == full_ohm), None)

    def too_much(self, reading: Reading) -> bool:
        """Whether a value lies above the highest range: this meter would have shown over range, so another was in use."""
        return reading.quantity is not None and reading.quantity.ohms > self.highest.full_ohm

    def finest_ohm(self, value_ohm: Decimal) -> Decimal:
        """What the last digit is worth on the lowest range that holds a value; above all ranges, on the highest."""
        return next((range_ for range_ in self.ranges if value_ohm <= range_.full_ohm), self.highest).resolution_ohm

    def finer(self, reading: Reading) -> Decimal | None:
        """What this display's last digit is worth where a value has a digit below it; None where it has none."""
        if reading.quantity is None:
            return None
        finest_ohm = self.finest_ohm(reading.quantity.ohms)
        return finest_ohm if reading.quantity.ohms % finest_ohm else None

    def range_for(self, reading: Reading, usual_ohm: int | None = None) -> Range:
        """The range a reading was most likely taken on.

        The one the reading names, when its value fits there. Otherwise one whose display holds the value and has the
        digits that were said: on a hand-set meter the one with full scale `usual_ohm` (where the procedure puts the
        dial), else the lowest. A reading without a value belongs to the range it names, else to the highest; so does a
        value above them all, which nobody takes without asking whose meter it was (`too_much`).
        """
        named = self.at(reading.range_ohm)
        if reading.quantity is None:
            return named or self.highest
        ohms, step_ohms = reading.quantity.ohms, reading.quantity.step_ohms
        fit = [range_ for range_ in self.ranges if ohms <= range_.full_ohm] or [self.highest]
        if named in fit:
            return named
        can_show = [range_ for range_ in fit if range_.resolution_ohm <= step_ohms] or fit
        usual = [range_ for range_ in can_show if self.hand_set and range_.full_ohm == usual_ohm]
        return (usual or can_show)[0]

    def measured(self, quantity: Quantity, range_: Range, whose: str, halves: int = 0) -> Measured:
        """A display's value with its errors; `whose` names the parts that belong to this reading alone.

        A maker's ±(percent + counts) is a limit a on the sum of both, so one reading has u = a/√3. The percent part
        is the range's gain: one unknown for all readings on that range, and it cancels in a difference. What remains
        of a, the root of a² less the gain's square, is the reading's own; so a single reading keeps exactly a/√3, and
        no credit is taken for a zero error that two readings may have in common. The counts hold the display's last
        digit; when fewer digits were said than the display has, the digits left out are one more part. `halves` takes
        the value to lie so many halves of its last digit higher, never below zero.
        """
        half_ohm = max(quantity.step_ohms, range_.resolution_ohm) / 2
        value_ohm = max(Decimal(0), quantity.ohms + halves * half_ohm) - range_.offset_ohm
        limit_ohm = float(range_.limit_ohm(value_ohm))
        gain_ohm = float(value_ohm * range_.percent / 100)
        measured = Measured(
            value_ohm,
            (
                rectangular(f"gain of {self.name} on {range_.full_ohm} Ω", gain_ohm),
                rectangular(f"display at {whose}", sqrt(max(0.0, limit_ohm**2 - gain_ohm**2))),
            ),
        )
        if quantity.step_ohms <= range_.resolution_ohm:
            return measured
        return measured.with_part(rectangular(f"digits left out at {whose}", float(quantity.step_ohms) / 2))


# ---- profiles as files

_METER_KEYS = ("title", "hand_set", "range")
_RANGE_KEYS = ("full_ohm", "resolution_ohm", "percent", "counts", "offset_ohm")
_OHMS = Decimal(10) ** 12
_FINEST_OHM = Decimal("0.000001")
"""Beyond every full scale and every last digit a meter has; keeps a slip in a file from becoming arithmetic with
absurd numbers.
"""

Check = Callable[[Any], bool]
"""Whether a value from a file will do."""


def load_meters(texts: Mapping[str, str]) -> Mapping[str, Meter]:
    """The meters of TOML texts, by file name without its ending. Raises BadData with every fault of every file."""
    problems: list[Problem] = []
    meters = {name: _meter(name, text, problems) for name, text in texts.items()}
    if problems:
        raise BadData(tuple(problems))
    return meters


def _meter(name: str, text: str, problems: list[Problem]) -> Meter:
    file = f"meters/{name}.toml"
    try:
        data = tomllib.loads(text, parse_float=Decimal)
    except tomllib.TOMLDecodeError as error:
        problems.append(Problem(file, str(error), "valid TOML"))
        return Meter(name, name, hand_set=False, ranges=())
    entry = _Entry(file, data, problems)
    entry.only(_METER_KEYS)
    title = entry.take("title", "a title in quotes", lambda value: isinstance(value, str) and bool(value.strip()))
    hand_set = entry.take("hand_set", "true or false", lambda value: isinstance(value, bool))
    tables = entry.take("range", "one [[range]] or more", _tables, [])
    ranges = tuple(_range(f"{file}: range[{number}]", table, problems) for number, table in enumerate(tables))
    _check_order(file, tables, problems)
    return Meter(name, title, hand_set, ranges)


def _range(where: str, table: dict[str, Any], problems: list[Problem]) -> Range:
    entry = _Entry(where, table, problems, joint=".")
    entry.only(_RANGE_KEYS)
    full_ohm = entry.take(
        "full_ohm", "full scale in ohms, a whole number from 1", lambda value: _whole(value) and value < _OHMS
    )
    resolution = entry.take(
        "resolution_ohm", "ohms from 0.000001 and below full scale", lambda value: _within(value, full_ohm)
    )
    percent = entry.take("percent", "percent of reading, 0 to 50", lambda value: _number(value) and value <= 50)  # noqa: PLR2004
    counts = entry.take("counts", "a whole number from 1 (the last digit is among them)", _whole)
    offset = entry.take("offset_ohm", "ohms from 0", lambda value: _number(value) and value < _OHMS, 0)
    return Range(full_ohm, Decimal(resolution), Decimal(percent), counts, Decimal(offset))


def _check_order(file: str, tables: list[dict[str, Any]], problems: list[Problem]) -> None:
    scales: list[Any] = [table.get("full_ohm") for table in tables]
    for number, (lower, upper) in enumerate(pairwise(scales), start=1):
        if _whole(lower) and _whole(upper) and lower >= upper:
            where = f"{file}: range[{number}].full_ohm"
            problems.append(Problem(where, str(upper), f"more than {lower}", "Put the lowest range first."))


class _Entry:
    """One table of a file. Every fault found is added to `problems`; a harmless value stands in for the faulty one."""

    def __init__(self, where: str, data: dict[str, Any], problems: list[Problem], joint: str = ": ") -> None:
        self._where, self._data, self._problems, self._joint = where, data, problems, joint

    def only(self, keys: tuple[str, ...]) -> None:
        """Keys that mean nothing are faults: mostly slips of the pen."""
        for key in sorted(set(self._data) - set(keys)):
            self._fault(key, "an unknown key", "one of " + ", ".join(keys))

    def take(self, key: str, expected: str, check: Check, default: Any = None) -> Any:  # noqa: ANN401 - TOML values
        """The value of a key when it passes; a missing key needs a default."""
        value = self._data.get(key, default)
        if value is not None and check(value):
            return value
        found = "nothing" if value is None else str(value) if isinstance(value, Decimal) else repr(value)
        self._fault(key, found, expected)
        return _STAND_INS.get(key, 1)

    def _fault(self, key: str, found: str, expected: str) -> None:
        self._problems.append(Problem(f"{self._where}{self._joint}{key}", found, expected))


_STAND_INS: Mapping[str, Any] = {"title": "", "range": (), "full_ohm": int(_OHMS)}


def _whole(value: Any) -> bool:  # noqa: ANN401 - TOML values are of any type
    return isinstance(value, int) and not isinstance(value, bool) and value >= 1


def _number(value: Any) -> bool:  # noqa: ANN401 - TOML values are of any type
    if isinstance(value, bool) or not isinstance(value, int | Decimal):
        return False
    return Decimal(value).is_finite() and value >= 0


def _within(value: Any, full_ohm: int) -> bool:  # noqa: ANN401 - TOML values are of any type
    return _number(value) and _FINEST_OHM <= value < full_ohm


def _tables(value: Any) -> bool:  # noqa: ANN401 - TOML values are of any type
    return isinstance(value, list) and bool(value) and all(isinstance(item, dict) for item in value)
