"""A reading beside the shop's own earlier readings of the same coil: median, spread, and whether it still reads so.

Readings of a coil that was known to be good say more about it than any general band. Coils are read at temperatures
that nobody wrote down, through contacts that differ from day to day; both are allowed for before anything is called
different.
"""

from dataclasses import dataclass
from decimal import Decimal
from enum import Enum
from math import hypot
from statistics import median

from assistant.measure.coil import PRIMARY_SCATTER_OHM, SCATTER_OHM, SCATTER_PERCENT, Tap
from assistant.measure.limits import COPPER_K_C, SHOP_HALF_SPAN_K
from assistant.measure.measured import COVERAGE_FACTOR, Measured, rectangular

_ROOM_C = Decimal(20)


@dataclass(frozen=True, slots=True)
class Past:
    """One earlier reading: its value less the leads in ohms, its U in ohms, whether the coil was known to be good."""

    value_ohm: Decimal
    expanded_ohm: float
    known_good: bool = False


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


def beside_earlier(tap: Tap, now: Measured | None, past: tuple[Past, ...]) -> Earlier | None:
    """The reading of now beside earlier ones; None when there are none.

    AGREES when it lies within contact scatter of what was read before, whatever the doubt; DIFFERS when it lies beyond
    that and the doubt of both together; CANNOT_TELL between the two. So a worse meter decides less, never otherwise.
    """
    good = tuple(one for one in past if one.known_good)
    used = good or past
    if not used:
        return None
    values = sorted(one.value_ohm for one in used)
    middle = median(values)
    percent = None if now is None or not middle else 100 * (now.value_ohm - middle) / middle
    agreement = Agreement.NO_VALUE
    if now is not None:
        agreement = _agreement(tap, now, (values[0], values[-1]), max(one.expanded_ohm for one in used))
    return Earlier(tap, len(used), bool(good), middle, values[0], values[-1], agreement, percent)


def _agreement(tap: Tap, now: Measured, span: tuple[Decimal, Decimal], past_expanded_ohm: float) -> Agreement:
    low, high = span
    nearest = min(max(now.value_ohm, low), high)
    distance_ohm = abs(now.value_ohm - nearest)
    floor_ohm = PRIMARY_SCATTER_OHM if tap is Tap.PRIMARY else SCATTER_OHM
    scatter_ohm = nearest * SCATTER_PERCENT / 100 + floor_ohm
    if distance_ohm <= scatter_ohm:
        return Agreement.AGREES
    # two temperatures that nobody wrote down: each within 15 K of a room's, as for the maker's limits
    spread_ohm = float(nearest * SHOP_HALF_SPAN_K / (COPPER_K_C + _ROOM_C))
    temperature_ohm = COVERAGE_FACTOR * rectangular("temperature", spread_ohm).u_ohm
    doubt_ohm = hypot(now.expanded_ohm, past_expanded_ohm, temperature_ohm, temperature_ohm)
    within = distance_ohm <= scatter_ohm + Decimal(doubt_ohm)
    return Agreement.CANNOT_TELL if within else Agreement.DIFFERS
