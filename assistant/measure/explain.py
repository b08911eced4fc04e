"""Harmless explanations of odd readings, offered only where the numbers fit them, and what a test could not have seen.

None of them decides anything: they are sentences beside a verdict.
"""

from dataclasses import replace
from decimal import Decimal
from math import hypot, sqrt

from assistant.measure.coil import CAPS_OHM, SECONDARY_NEAR_OHM, Span
from assistant.measure.limits import Conformity
from assistant.measure.measured import COVERAGE_FACTOR, Measured
from assistant.measure.meter import Range

BODY_OHM: Span = (Decimal(100_000), Decimal(1_000_000))
"""A body between two probe tips, from damp to dry hands: the resistances assumed in tests/checks/series_parallel.tsv."""
PREFIXES = (Decimal(1000), Decimal("0.001"))
"""What a value is wrong by when k is taken for ohms, or M for k."""
SMALLEST_OHM = 1e-6
"""No winding has less; keeps a division by nothing away."""
_FINER = 3
"""How many more digits a better meter may have: from a tenth of an ohm down to a tenth of a milliohm, which only bench meters show."""


def beside_body(true_ohm: Decimal, body_ohm: Decimal) -> Decimal:
    """What a resistance reads while a body touches both tips: the two in parallel."""
    return true_ohm * body_ohm / (true_ohm + body_ohm)


def body_that_fits(true_ohm: Decimal, read_ohm: Decimal) -> Decimal | None:
    """The body that would turn one value into the other, where it is one that hands can have."""
    if not 0 < read_ohm < true_ohm:
        return None
    body_ohm = true_ohm * read_ohm / (true_ohm - read_ohm)
    return body_ohm if BODY_OHM[0] <= body_ohm <= BODY_OHM[1] else None


def body_alone(value_ohm: Decimal) -> bool:
    """Whether an open path reads like this through hands on both tips."""
    return BODY_OHM[0] <= value_ohm <= BODY_OHM[1]


def prefix_that_fits(value_ohm: Decimal, band: Span) -> Decimal | None:
    """What the value would be with another prefix, where that lies inside the band and the value itself does not."""
    if band[0] <= value_ohm <= band[1]:
        return None
    return next((value_ohm * factor for factor in PREFIXES if band[0] <= value_ohm * factor <= band[1]), None)


def cap_between(one_ohm: Decimal, other_ohm: Decimal) -> Decimal | None:
    """By how much two readings of one path differ, where that is as much as a resistor cap has and the lower one may be a winding."""
    difference_ohm = abs(one_ohm - other_ohm)
    if min(one_ohm, other_ohm) < SECONDARY_NEAR_OHM[0]:
        return None
    return difference_ohm if any(low <= difference_ohm <= high for low, high in CAPS_OHM) else None


def hidden_turns(measured: Measured, most_ohm: Decimal) -> tuple[float, float]:
    """What part of a winding's turns could be shorted although it reads so: inside its band, and at the very best.

    Resistance falls in proportion to the turns that are left. A winding from the top of its band (`most_ohm`, or this
    value when it lies above) may have lost everything above this reading less U; and even against a good reading of the
    same winding, with this meter, a loss of less than the U of both readings would not show.
    """
    value_ohm, expanded_ohm = float(measured.value_ohm), measured.expanded_ohm
    inside = 1 - (value_ohm - expanded_ohm) / max(float(most_ohm), value_ohm, SMALLEST_OHM)
    inside = min(max(inside, 0.0), 1.0)
    best = sqrt(2) * expanded_ohm / value_ohm if value_ohm else 1.0
    return (inside, min(best, inside))  # the band is known beside a good reading too


def step_that_decides(found: Conformity, range_: Range, leads_ohm: Decimal) -> Decimal | None:
    """The last digit in ohms with which a meter, as accurate otherwise, could place a value inside these limits.

    Among a tenth, a hundredth and a thousandth of what this range shows; None when none of them helps: then percent of
    reading, temperature or digits left out are too much by themselves. Both limits have to be there.
    """
    low_ohm, high_ohm = found.limit.low_ohm, found.limit.high_ohm
    if low_ohm is None or high_ohm is None:
        return None
    middle_ohm = (low_ohm + high_ohm) / 2
    of_meter = _doubt_ohm(range_, middle_ohm, leads_ohm)
    rest = sqrt(max(0.0, found.referred.u_ohm**2 - of_meter**2))
    for digits in range(1, _FINER + 1):
        finer = replace(range_, resolution_ohm=range_.resolution_ohm.scaleb(-digits))
        expanded_ohm = COVERAGE_FACTOR * hypot(rest, _doubt_ohm(finer, middle_ohm, leads_ohm))
        if float(high_ohm - low_ohm) >= 2 * expanded_ohm:
            return finer.resolution_ohm
    return None


def _doubt_ohm(range_: Range, value_ohm: Decimal, leads_ohm: Decimal) -> float:
    """The standard uncertainty of a value less the leads, both on one range: its gain in common, the rest each for itself."""
    gain = range_.percent / 100
    gains = float(gain * value_ohm)  # of the difference: the leads' share cancels
    own = [
        sqrt(max(0.0, float(range_.limit_ohm(ohm)) ** 2 - float(gain * ohm) ** 2))
        for ohm in (value_ohm + leads_ohm, leads_ohm)
    ]
    return hypot(gains, *own) / sqrt(3)
