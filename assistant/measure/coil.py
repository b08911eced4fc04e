"""The two windings of an ignition coil, the three pairs of points, and the classes a reading falls into.

Bands marked *common practice* are shop habit without a source: they choose words and questions and never fail a coil.
Spans marked *published* are those of the makers' figures in tests/checks/coil_limits_published.tsv, which names each
manual. A value on the edge of two classes belongs to the milder one.
"""

from collections.abc import Mapping
from decimal import Decimal
from enum import Enum

from assistant.measure.measured import Measured
from assistant.measure.units import Reading, Shown


class Stroke(Enum):
    """Kind of engine."""

    FOUR = "four"
    TWO = "two"
    UNKNOWN = "unknown"


class Electronics(Enum):
    """Whether there are electronic parts inside the coil block."""

    YES = "yes"
    NO = "no"
    UNKNOWN = "unknown"


class Tap(Enum):
    """A pair of points: core to kill tab, core to lead end, kill tab to lead end."""

    PRIMARY = "primary"
    SECONDARY = "secondary"
    KILLTAB = "killtab"


class Class(Enum):
    """What kind of reading it is. Which ones a pair of points can have stands in CLASSES."""

    NOT_TAKEN = "not taken"
    USUAL = "usual"
    NEAR = "near"
    TOO_SMALL = "too small for this meter"
    LOW = "low"
    RAISED = "raised"
    SUSPICIOUS = "suspicious"
    BEYOND = "above the range"
    BAD = "bad"
    SAME = "same"
    BLIND = "same either way"
    UNCLEAR = "unclear"
    HIGH = "too high"
    DIFFERENT = "different"
    UNSTEADY = "unsteady"
    OPEN = "open"


CLASSES: dict[Tap, tuple[Class, ...]] = {
    Tap.PRIMARY: (Class.NOT_TAKEN, Class.USUAL, Class.NEAR, Class.TOO_SMALL, Class.RAISED, Class.SUSPICIOUS),
    Tap.SECONDARY: (Class.NOT_TAKEN, Class.USUAL, Class.NEAR, Class.LOW, Class.RAISED, Class.BEYOND, Class.BAD),
    Tap.KILLTAB: (
        Class.NOT_TAKEN,
        Class.SAME,
        Class.BLIND,
        Class.UNCLEAR,
        Class.HIGH,
        Class.DIFFERENT,
        Class.UNSTEADY,
        Class.OPEN,
    ),
}


Span = tuple[Decimal, Decimal]
"""A low and a high end, in ohms, both included."""

PRIMARY_USUAL_OHM: Span = (Decimal("0.5"), Decimal("2.5"))
"""Common practice, no source."""
PRIMARY_NEAR_MOST_OHM = Decimal(10)
"""Common practice, no source: up to here a primary is no cause by itself (published makers' values: 0.07 to 3.6 Ω)."""
PRIMARY_PUBLISHED_OHM: Span = (Decimal("0.07"), Decimal("3.6"))
"""From the lowest to the highest limit that makers print (tests/checks/coil_limits_published.tsv)."""
PRIMARY_SUSPICIOUS_OHM = Decimal(100)
"""Common practice, no source: hundreds of ohms on a primary are a cause, or electronics in the path."""
SHORT_OHM = Decimal("0.05")
"""Our choice: below the smallest published primary (0.07 Ω), a value cannot be told from a short."""

SECONDARY_USUAL_OHM: Mapping[Stroke, Span] = {
    Stroke.FOUR: (Decimal(2_500), Decimal(5_000)),
    Stroke.TWO: (Decimal(5_000), Decimal(10_000)),
    Stroke.UNKNOWN: (Decimal(2_500), Decimal(10_000)),
}
"""Common practice, no source; for an engine not known, both bands together."""
SECONDARY_PUBLISHED_OHM: Span = (Decimal(1_500), Decimal(19_800))
"""From the lowest to the highest limit that makers print for a coil without a cap (the same table)."""
SECONDARY_NEAR_OHM: Span = (Decimal(1_500), Decimal(20_000))
"""Published makers' values run from 1.5 to 19.8 kΩ; inside this span nothing is a cause by itself."""
SECONDARY_BAD_OHM = Decimal(100_000)
"""Our choice, five times the largest published value; common practice calls 2 to 3 MΩ a cause."""

CAPS_OHM: tuple[Span, ...] = ((Decimal(4_000), Decimal(6_000)), (Decimal(7_500), Decimal(12_500)))
"""Resistor plug caps, published: several makers print 4 to 6 kΩ, one 7.5 to 12.5 kΩ
(tests/checks/cap_arithmetic.tsv).
"""

LEADS_NORMAL_MOST_OHM = Decimal("0.5")
"""Published by makers of meters: shorted leads read 0 to 0.5 Ω (tests/checks/meter_display.tsv)."""
LEADS_MOST_OHM = Decimal(1)
"""Published in an article on lead resistance: above this, leads are put right or replaced first."""

SCATTER_PERCENT = Decimal(2)
SCATTER_OHM = Decimal(1)
"""How far K may lie from what it is compared with through contacts alone: 2 % and 1 Ω (common practice, no source)."""

PRIMARY_SCATTER_OHM = Decimal("0.1")
"""What the contacts of two readings of one primary differ by (common practice, no source)."""

SHOWN_MOST_OHM = Decimal(10) ** 9
"""No hand-held meter shows more; a "value" above it is taken as over range."""


def primary_class(reading: Reading, measured: Measured | None, *, inside: bool | None) -> Class:
    """The class of a primary reading. `inside`: whether it lies inside the maker's limits, None when there are none."""
    if measured is None or reading.shown is not Shown.VALUE:
        return Class.SUSPICIOUS
    value_ohm = measured.value_ohm
    if not inside and value_ohm >= PRIMARY_SUSPICIOUS_OHM:
        return Class.SUSPICIOUS
    if not inside and value_ohm > PRIMARY_NEAR_MOST_OHM:
        return Class.RAISED
    if value_ohm - Decimal(measured.expanded_ohm) < SHORT_OHM:
        return Class.TOO_SMALL
    usual = _within(value_ohm, PRIMARY_USUAL_OHM) if inside is None else inside
    return Class.USUAL if usual else Class.NEAR


def secondary_class(
    reading: Reading, measured: Measured | None, stroke: Stroke, *, inside: bool | None, cap_on: bool | None
) -> Class:
    """The class of a secondary reading. With a resistor cap in the path the general bands move up by 4 to 6 kΩ.

    Over range on a range whose full scale is known to lie below the bad band says only "more than that": BEYOND.
    """
    if measured is None or reading.shown is not Shown.VALUE:
        short_range = reading.range_ohm is not None and reading.range_ohm < SECONDARY_BAD_OHM
        return Class.BEYOND if reading.shown is not Shown.UNSTEADY and short_range else Class.BAD
    value_ohm = measured.value_ohm
    near = SECONDARY_NEAR_OHM
    if cap_on:
        near = (near[0], near[1] + CAPS_OHM[0][1])
    if inside or (inside is None and _within(value_ohm, secondary_usual(stroke, cap_on=cap_on))):
        return Class.USUAL
    if value_ohm < near[0]:
        return Class.LOW
    if value_ohm <= near[1]:
        return Class.NEAR
    return Class.RAISED if value_ohm < SECONDARY_BAD_OHM else Class.BAD


def secondary_usual(stroke: Stroke, *, cap_on: bool | None) -> Span:
    """The usual band of a secondary; with a cap in the path, low with low and high with high."""
    band = SECONDARY_USUAL_OHM[stroke]
    return with_caps(band, 1, CAPS_OHM[0]) if cap_on else band


def with_caps(coil: Span, caps: int, cap: Span) -> Span:
    """The span of a coil measured through a number of plug caps: low with low, high with high."""
    return (coil[0] + caps * cap[0], coil[1] + caps * cap[1])


def killtab_class(reading: Reading, measured: Measured | None, expected: Measured | None, steps_ohm: Decimal) -> Class:
    """K against what it should be: `expected` is P + S, or S alone, or None when there is nothing to compare with.

    SAME within contact scatter and the last digits said (`steps_ohm`), whatever the meter's doubt; DIFFERENT beyond
    that and U together; UNCLEAR between the two. So a worse meter can make SAME or DIFFERENT neither, never one the
    other.
    """
    if reading.shown is Shown.UNSTEADY:
        return Class.UNSTEADY
    if measured is None:
        return Class.OPEN
    if expected is None:
        return Class.UNCLEAR
    difference = measured - expected
    distance_ohm = abs(difference.value_ohm)
    scatter_ohm = abs(expected.value_ohm) * SCATTER_PERCENT / 100 + SCATTER_OHM + steps_ohm
    if distance_ohm <= scatter_ohm:
        return Class.SAME
    return Class.UNCLEAR if distance_ohm <= scatter_ohm + Decimal(difference.expanded_ohm) else Class.DIFFERENT


def primary_explains(k_ohm: Decimal, s_ohm: Decimal, p_ohm: Decimal | None, steps_ohm: Decimal) -> bool:
    """Whether K lies above S by no more than the primary reads, contact scatter and the last digits said allowed for.

    `p_ohm` None: the primary shows no value, so any excess will do. The meter's doubt does not count: a worse meter
    must not explain more.
    """
    if p_ohm is None:
        return k_ohm > s_ohm
    total_ohm = s_ohm + p_ohm
    return s_ohm < k_ohm <= total_ohm + total_ohm * SCATTER_PERCENT / 100 + SCATTER_OHM + steps_ohm


def cap_fits(value_ohm: Decimal, band: Span) -> Span | None:
    """What a value above a band would be without a resistor cap, for the first kind of cap that makes it fit."""
    if value_ohm <= band[1]:
        return None
    for low_ohm, high_ohm in CAPS_OHM:
        without = (value_ohm - high_ohm, value_ohm - low_ohm)
        if without[1] >= band[0] and without[0] <= band[1]:
            return without
    return None


def _within(value_ohm: Decimal, span: Span) -> bool:
    return span[0] <= value_ohm <= span[1]
