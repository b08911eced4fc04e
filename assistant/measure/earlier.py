"""A reading beside the shop's own earlier readings of the same coil: median, spread, and whether it still reads so.

Readings of a coil that was known to be good say more about it than any general band. Coils are read at temperatures
that nobody may have written down, through contacts that differ from day to day; both are allowed for before anything is
called different. Where a temperature was written down, what copper makes of it is taken off first.
"""

from dataclasses import dataclass
from decimal import Decimal
from enum import Enum
from math import hypot
from statistics import median

from assistant.measure.coil import PRIMARY_SCATTER_OHM, SCATTER_OHM, SCATTER_PERCENT, Tap
from assistant.measure.limits import COPPER_K_C, KNOWN_HALF_SPAN_K, ROOM_C, SHOP_HALF_SPAN_K, at_room
from assistant.measure.measured import COVERAGE_FACTOR, Measured, rectangular


@dataclass(frozen=True, slots=True)
class Circumstances:
    """What a reading was taken in: the coil's temperature and whether a plug cap was on, each None when nobody said."""

    coil_at_c: Decimal | None = None
    cap_on: bool | None = None


UNTOLD = Circumstances()


@dataclass(frozen=True, slots=True)
class Past:
    """One earlier reading: its value less the leads in ohms, its U in ohms, whether the coil was known to be good."""

    value_ohm: Decimal
    expanded_ohm: float
    known_good: bool = False
    taken: Circumstances = UNTOLD


class Agreement(Enum):
    """How a reading stands to earlier ones of the same coil."""

    AGREES = "agrees"
    CANNOT_TELL = "cannot tell"
    DIFFERS = "differs"
    NO_VALUE = "no value now"


@dataclass(frozen=True, slots=True)
class Earlier:
    """The earlier readings of one pair of points, in short, and how the reading of now stands to them.

    With `known_good` only readings of a coil known to be good are in it, otherwise all. `percent` is how far the
    reading of now lies from the median, in percent of the median; None when either shows no value or the median is
    zero.
    """

    tap: Tap
    count: int
    known_good: bool
    median_ohm: Decimal
    low_ohm: Decimal
    high_ohm: Decimal
    agreement: Agreement
    percent: Decimal | None
    at_c: Decimal | None = None
    """The temperature that the values of known temperature were referred to; None when none was known."""


def beside_earlier(
    tap: Tap, now: Measured | None, past: tuple[Past, ...], taken: Circumstances = UNTOLD
) -> Earlier | None:
    """The reading of now beside earlier ones; None when there are none to compare it with.

    AGREES when it lies within contact scatter of what was read before, whatever the doubt; DIFFERS when it lies beyond
    that and the doubt of both together; CANNOT_TELL between the two. So a worse meter decides less, never otherwise.
    A secondary with its plug cap on is not compared with one with the cap off.
    """
    past = tuple(one for one in past if not other_cap(tap, one.taken, taken))
    good = tuple(one for one in past if one.known_good)
    used = good or past
    if not used:
        return None
    values = sorted(_at_room(tap, one.value_ohm, one.taken) for one in used)
    known = any(one.coil_at_c is not None for one in (taken, *(each.taken for each in used)))
    middle = median(values)
    now_ohm = None if now is None else _at_room(tap, now.value_ohm, taken)
    percent = None if now_ohm is None or not middle else 100 * (now_ohm - middle) / middle
    agreement = Agreement.NO_VALUE
    if now is not None and now_ohm is not None:
        nearest_ohm = min(max(now_ohm, values[0]), values[-1])
        doubts = (
            now.expanded_ohm,
            _temperature_ohm(nearest_ohm, taken),
            max(one.expanded_ohm for one in used),
            max(_temperature_ohm(nearest_ohm, one.taken) for one in used),
        )
        agreement = _agreement(tap, now_ohm, nearest_ohm, hypot(*doubts))
    return Earlier(
        tap, len(used), bool(good), middle, values[0], values[-1], agreement, percent, ROOM_C if known else None
    )


def other_cap(tap: Tap, one: Circumstances, other: Circumstances) -> bool:
    """Whether a plug cap is known to be in one of two readings of a secondary and not in the other."""
    return tap is Tap.SECONDARY and None not in {one.cap_on, other.cap_on} and one.cap_on is not other.cap_on


def _at_room(tap: Tap, value_ohm: Decimal, taken: Circumstances) -> Decimal:
    return at_room(value_ohm, taken.coil_at_c, cap_on=taken.cap_on if tap is Tap.SECONDARY else None)


def _temperature_ohm(value_ohm: Decimal, taken: Circumstances) -> float:
    """The expanded doubt that the coil's temperature leaves."""
    half_k = SHOP_HALF_SPAN_K if taken.coil_at_c is None else KNOWN_HALF_SPAN_K
    spread_ohm = float(value_ohm * half_k / (COPPER_K_C + ROOM_C))
    return COVERAGE_FACTOR * rectangular("temperature", spread_ohm).u_ohm


def _agreement(tap: Tap, now_ohm: Decimal, nearest_ohm: Decimal, doubt_ohm: float) -> Agreement:
    distance_ohm = abs(now_ohm - nearest_ohm)
    floor_ohm = PRIMARY_SCATTER_OHM if tap is Tap.PRIMARY else SCATTER_OHM
    scatter_ohm = nearest_ohm * SCATTER_PERCENT / 100 + floor_ohm
    if distance_ohm <= scatter_ohm:
        return Agreement.AGREES
    within = distance_ohm <= scatter_ohm + Decimal(doubt_ohm)
    return Agreement.CANNOT_TELL if within else Agreement.DIFFERS
