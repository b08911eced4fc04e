"""Maker's limits: the resistance referred to their temperature, the four outcomes, the probability of being inside.

Sources: the decision rule with a guard band w = U on both sides of each limit is ILAC-G8:09/2019, 4.2.3; the
probability of conformity is JCGM 106:2012, clause 7; copper between two temperatures follows R2/R1 = (k + T2)/(k +
T1) with k = 234.5 °C.
"""

from dataclasses import dataclass, replace
from decimal import Decimal
from enum import Enum
from math import erfc, inf, sqrt

from assistant.measure.coil import CAPS_OHM, Span, Tap
from assistant.measure.measured import Measured, rectangular

COPPER_K_C = Decimal("234.5")
"""The temperature below zero at which copper's straight line would reach zero ohms (the constant of the
two-temperature form).
"""
TEMPERATURES_C = (Decimal(-60), Decimal(300))
"""A coil outside these is a slip of the tongue; between them the straight line is good enough for a coil."""


class Points(Enum):
    """Between which points the maker's figures of a secondary hold."""

    CORE = "core to lead end"
    KILLTAB = "kill tab to lead end"
    OTHER = "other points"


@dataclass(frozen=True, slots=True)
class Limit:
    """What the maker prints for one winding; a side that is not printed is None, and so is an unknown temperature.

    `cap_on` says whether the figures include a plug cap, None when the maker does not say (taken as off). Raises
    ValueError when both sides are missing, one is negative or no number, low is above high, or the temperature is
    absurd.
    """

    low_ohm: Decimal | None = None
    high_ohm: Decimal | None = None
    at_c: Decimal | None = None
    cap_on: bool | None = None
    source: str = "the maker's limits"
    points: Points = Points.CORE

    def __post_init__(self) -> None:
        sides = [side for side in (self.low_ohm, self.high_ohm) if side is not None]
        if not sides or not all(side.is_finite() and side >= 0 for side in sides):
            raise ValueError(
                f"a limit needs a low or a high side of zero ohms or more, found {self.low_ohm}:{self.high_ohm}"
            )
        if sides != sorted(sides):
            raise ValueError(f"the low limit {self.low_ohm} is above the high limit {self.high_ohm}")
        check_temperature(self.at_c)


@dataclass(frozen=True, slots=True)
class CoilLimits:
    """The maker's limits of both windings, each None when the person has none."""

    primary: Limit | None = None
    secondary: Limit | None = None

    def at(self, tap: Tap) -> Limit | None:
        """The limits that hold for what is read at these points; None where there are none."""
        if tap is Tap.PRIMARY or self.secondary is None:
            return self.primary if tap is Tap.PRIMARY else None
        holds = {Points.CORE: Tap.SECONDARY, Points.KILLTAB: Tap.KILLTAB}.get(self.secondary.points)
        return self.secondary if tap is holds else None


NO_LIMITS = CoilLimits()


def check_temperature(celsius: Decimal | None) -> None:
    """Raises ValueError for a temperature that no coil on a bench has; None is fine."""
    low, high = TEMPERATURES_C
    if celsius is not None and not (celsius.is_finite() and low <= celsius <= high):
        raise ValueError(f"a coil's temperature lies between {low} and {high} °C, found {celsius}")


def in_celsius(fahrenheit: Decimal) -> Decimal:
    """Degrees Fahrenheit in degrees Celsius, to a tenth: no coil's temperature is known better."""
    return ((fahrenheit - 32) * 5 / 9).quantize(Decimal("0.1")) + 0  # no minus zero


class Zone(Enum):
    """The four outcomes against a pair of limits; a value on the edge of two zones belongs to the better one."""

    INSIDE = "inside"
    INSIDE_IN_DOUBT = "inside, but within the meter's doubt"
    OUTSIDE_IN_DOUBT = "outside, but within the meter's doubt"
    OUTSIDE = "outside"


@dataclass(frozen=True, slots=True)
class Conformity:
    """A reading against the maker's limits.

    `referred` is what was compared with `limit`: the reading as it would be at `at_c` (None: as it was taken), and with
    `cap_ohm` added to it, the ohms of a plug cap that the one includes and the other does not; below zero where the cap is
    taken off. `probability` is that of the true value lying inside. `decidable` is False when U leaves no value at all that
    would be INSIDE.
    """

    zone: Zone
    probability: float
    decidable: bool
    referred: Measured
    limit: Limit
    at_c: Decimal | None = None
    cap_ohm: Span | None = None


def copper_ratio(from_c: Decimal, to_c: Decimal) -> Decimal:
    """What a copper resistance is multiplied by between two temperatures."""
    return (COPPER_K_C + to_c) / (COPPER_K_C + from_c)


def zone(value_ohm: Decimal, guard_ohm: float, low_ohm: Decimal | None, high_ohm: Decimal | None) -> Zone:
    """The outcome with a guard band: the distance inside the nearer limit decides."""
    inside = min(
        value_ohm - low_ohm if low_ohm is not None else Decimal(inf),
        high_ohm - value_ohm if high_ohm is not None else Decimal(inf),
    )
    if inside >= guard_ohm:
        return Zone.INSIDE
    if inside >= 0:
        return Zone.INSIDE_IN_DOUBT
    return Zone.OUTSIDE_IN_DOUBT if -inside <= guard_ohm else Zone.OUTSIDE


def probability_inside(value_ohm: Decimal, u_ohm: float, low_ohm: Decimal | None, high_ohm: Decimal | None) -> float:
    """The probability that the true value lies inside, for a normal distribution around the reading."""
    if not u_ohm:
        return float(zone(value_ohm, 0.0, low_ohm, high_ohm) is Zone.INSIDE)
    below = _normal(float(low_ohm - value_ohm) / u_ohm) if low_ohm is not None else 0.0
    above = _normal(float(value_ohm - high_ohm) / u_ohm) if high_ohm is not None else 0.0
    return max(0.0, 1.0 - below - above)


def _normal(z: float) -> float:
    """The part of a standard normal distribution below z."""
    return erfc(-z / sqrt(2)) / 2


def conformity(measured: Measured, limit: Limit) -> Conformity:
    """One measured value against one pair of limits, both as they stand."""
    sides = (limit.low_ohm, limit.high_ohm)
    guard = measured.expanded_ohm
    decidable = limit.low_ohm is None or limit.high_ohm is None or limit.high_ohm - limit.low_ohm >= 2 * guard
    return Conformity(
        zone(measured.value_ohm, guard, *sides),
        probability_inside(measured.value_ohm, measured.u_ohm, *sides),
        decidable,
        measured,
        limit,
    )


ROOM_C = Decimal(20)
"""What limits hold for that carry no temperature, and how warm a coil is of which nobody says it (common practice, no source)."""
SHOP_HALF_SPAN_K = Decimal(15)
"""When nobody knows how warm the coil is: within 15 K of that (common practice for a shop, no source)."""
KNOWN_HALF_SPAN_K = Decimal(5)
"""How far a cold winding may be from what was told of its temperature (our choice): a thermometer sits on the outside."""


def compared(
    measured: Measured, limit: Limit, coil_at_c: Decimal | None, *, cap_on: bool | None, copper: bool = True
) -> Conformity:
    """A reading as it was taken against a limit as it is printed.

    The reading of a coil (`copper`) is referred to the temperature of the limits, ROOM_C where they carry none. Whatever is
    not known widens U: the coil's temperature, and the ohms of a plug cap that is in the reading but not in the limits, or
    the other way round. A cap is no copper. There are two kinds of caps; the one that brings the reading nearer counts.
    """
    found = [
        _with_cap(measured, limit, coil_at_c, cap_ohm, in_both=bool(cap_on and limit.cap_on), copper=copper)
        for cap_ohm in _caps(limit, cap_on=cap_on)
    ]
    order = list(Zone)
    return min(found, key=lambda one: order.index(one.zone))


def _caps(limit: Limit, *, cap_on: bool | None) -> tuple[Span, ...]:
    """What a plug cap adds to what the limits hold for, by kind of cap; below zero where the reading has it and they have not."""
    if cap_on and not limit.cap_on:
        return tuple((-high, -low) for low, high in CAPS_OHM)
    if limit.cap_on and not cap_on:
        return tuple((low if cap_on is False else Decimal(0), high) for low, high in CAPS_OHM)
    return ((Decimal(0), Decimal(0)),)


def _with_cap(  # noqa: PLR0913 - one reading and everything it is compared by
    measured: Measured, limit: Limit, coil_at_c: Decimal | None, cap_ohm: Span, *, in_both: bool, copper: bool
) -> Conformity:
    at_c = (ROOM_C if limit.at_c is None else limit.at_c) if copper else None
    ratio = Decimal(1) if at_c is None or coil_at_c is None else copper_ratio(coil_at_c, at_c)
    # what is in both stays in the reading, and does not change with temperature
    kept = CAPS_OHM[0] if in_both else (Decimal(0), Decimal(0))
    added_ohm, added_half_ohm = _middle_and_half(cap_ohm)
    kept_ohm, kept_half_ohm = _middle_and_half(kept)
    # what is taken off is taken off before the copper is referred, what is added comes on top of it
    factor = ratio if added_ohm < 0 else Decimal(1)
    value = measured.scaled(ratio)
    value_ohm = value.value_ohm + added_ohm * factor + kept_ohm * (1 - ratio)
    doubts = [rectangular("plug cap", float(added_half_ohm * factor + kept_half_ohm * abs(1 - ratio)))]
    if at_c is not None:
        in_it_ohm = kept_ohm + max(added_ohm, Decimal(0))
        span_k = SHOP_HALF_SPAN_K if coil_at_c is None else KNOWN_HALF_SPAN_K
        spread_ohm = max(value_ohm - in_it_ohm, Decimal(0)) * span_k / (COPPER_K_C + at_c)
        doubts.append(rectangular("temperature of the coil", float(spread_ohm)))
    parts = (*value.parts, *(part for part in doubts if part.u_ohm))
    found = conformity(Measured(max(value_ohm, Decimal(0)), parts), limit)
    return replace(found, at_c=None if coil_at_c is None else at_c, cap_ohm=cap_ohm if any(cap_ohm) else None)


def at_room(value_ohm: Decimal, coil_at_c: Decimal | None, *, cap_on: bool | None) -> Decimal:
    """What a reading would be at ROOM_C, as it stands where the coil's temperature is not known; a cap in it is no copper."""
    same = Limit(Decimal(0), at_c=ROOM_C, cap_on=cap_on)
    return compared(Measured(value_ohm), same, coil_at_c, cap_on=cap_on).referred.value_ohm


def less_cap(measured: Measured) -> Measured:
    """What is left of a reading without the resistor cap that is in it, of the kind that most makers print."""
    cap_ohm, half_ohm = _middle_and_half(CAPS_OHM[0])
    less = measured - Measured(cap_ohm, (rectangular("plug cap", float(half_ohm)),))
    return Measured(max(less.value_ohm, Decimal(0)), less.parts)


def _middle_and_half(span: Span) -> Span:
    """The middle of a span and how far its ends lie from it."""
    return ((span[0] + span[1]) / 2, (span[1] - span[0]) / 2)
