"""Maker's limits: the resistance referred to their temperature, the four outcomes, the probability of being inside.

Sources: the decision rule with a guard band w = U on both sides of each limit is ILAC-G8:09/2019, 4.2.3; the
probability of conformity is JCGM 106:2012, clause 7; copper between two temperatures follows R2/R1 = (k + T2)/(k +
T1) with k = 234.5 °C.
"""

from dataclasses import dataclass, replace
from decimal import Decimal
from enum import Enum
from math import erfc, inf, sqrt

from assistant.measure.coil import CAPS_OHM
from assistant.measure.measured import Measured, rectangular

COPPER_K_C = Decimal("234.5")
"""The temperature below zero at which copper's straight line would reach zero ohms (the constant of the
two-temperature form).
"""
TEMPERATURES_C = (Decimal(-60), Decimal(300))
"""A coil outside these is a slip of the tongue; between them the straight line is good enough for a coil."""


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


NO_LIMITS = CoilLimits()


def check_temperature(celsius: Decimal | None) -> None:
    """Raises ValueError for a temperature that no coil on a bench has; None is fine."""
    low, high = TEMPERATURES_C
    if celsius is not None and not (celsius.is_finite() and low <= celsius <= high):
        raise ValueError(f"a coil's temperature lies between {low} and {high} °C, found {celsius}")


class Zone(Enum):
    """The four outcomes against a pair of limits; a value on the edge of two zones belongs to the better one."""

    INSIDE = "inside"
    INSIDE_IN_DOUBT = "inside, but within the meter's doubt"
    OUTSIDE_IN_DOUBT = "outside, but within the meter's doubt"
    OUTSIDE = "outside"


@dataclass(frozen=True, slots=True)
class Conformity:
    """A reading against the maker's limits.

    `referred` is what was compared (at the limits' temperature), `limit` what it was compared with (shifted by a plug
    cap when the one includes it and the other does not). `probability` is that of the true value lying inside.
    `decidable` is False when the meter's U leaves no value at all that would be INSIDE: this meter cannot decide.
    """

    zone: Zone
    probability: float
    decidable: bool
    referred: Measured
    limit: Limit


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


SHOP_HALF_SPAN_K = Decimal(15)
"""When nobody knows how warm the coil is: within 15 K of the limits' temperature (common practice for a shop, no
source).
"""


def compared(measured: Measured, limit: Limit, coil_at_c: Decimal | None, *, cap_on: bool | None) -> Conformity:
    """A reading as it was taken against a limit as it is printed.

    With both temperatures known the reading is referred to the limits'; with the coil's unknown the value stays and U
    grows. When a plug cap is in the reading but not in the limits, or the other way round, the limits are shifted by
    a 4 to 6 kΩ cap, and say so in their source.
    """
    if limit.at_c is not None:
        if coil_at_c is None:
            spread_ohm = abs(measured.value_ohm) * SHOP_HALF_SPAN_K / (COPPER_K_C + limit.at_c)
            measured = measured.with_part(rectangular("temperature of the coil", float(spread_ohm)))
        else:
            measured = measured.scaled(copper_ratio(coil_at_c, limit.at_c))
    low_cap, high_cap = CAPS_OHM[0]
    if cap_on and not limit.cap_on:
        limit = replace(_shifted(limit, low_cap, high_cap), source=f"{limit.source} with a 4 to 6 kΩ cap added")
    elif limit.cap_on and cap_on is False:
        limit = replace(_shifted(limit, -high_cap, -low_cap), source=f"{limit.source} with a 4 to 6 kΩ cap taken off")
    return conformity(measured, limit)


def _shifted(limit: Limit, low_by: Decimal, high_by: Decimal) -> Limit:
    low_ohm = None if limit.low_ohm is None else max(Decimal(0), limit.low_ohm + low_by)
    high_ohm = None if limit.high_ohm is None else max(Decimal(0), limit.high_ohm + high_by)
    return replace(limit, low_ohm=low_ohm, high_ohm=high_ohm)
