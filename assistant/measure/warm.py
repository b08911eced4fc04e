"""Secondary and primary read once more while the coil is hot: copper rises with temperature, and some breaks open only then.

Nothing hot is condemned on one reading either.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from decimal import Decimal
from enum import Enum

from assistant.measure.case import Because, Case, TapResult, VerdictKind
from assistant.measure.classify import less_leads
from assistant.measure.coil import (
    CAPS_OHM,
    PRIMARY_SCATTER_OHM,
    PRIMARY_SUSPICIOUS_OHM,
    SCATTER_OHM,
    SCATTER_PERCENT,
    SECONDARY_BAD_OHM,
    Class,
    Span,
    Tap,
)
from assistant.measure.limits import KNOWN_HALF_SPAN_K, ROOM_C, SHOP_HALF_SPAN_K, copper_ratio
from assistant.measure.measured import Measured
from assistant.measure.units import Reading, Shown

HOTTEST_C = Decimal(130)
"""As hot as a coil gets on an engine, when nobody says (our choice; insulation of class B ends there)."""
WARM_HALF_SPAN_K = Decimal(10)
"""How far a hot winding may be from what a thermometer on the coil showed (our choice): it cools while it is read."""


class Warm(Enum):
    """What became of a winding when it was hot."""

    AS_COPPER = "rises as copper does"
    UNCLEAR = "within the meter's doubt of copper"
    LOWER = "lower than copper allows"
    HIGHER = "higher than copper allows"
    BEYOND = "above the range"
    UNSTEADY = "unsteady"
    OPEN = "open"


@dataclass(frozen=True, slots=True)
class WarmRow:
    """What an outcome makes of a verdict that nothing else condemns: its kind (None leaves it), and why."""

    kind: VerdictKind | None
    because: Because


WARM: Mapping[Warm, WarmRow] = {
    Warm.AS_COPPER: WarmRow(None, Because.WARM_AS_COPPER),
    Warm.UNCLEAR: WarmRow(VerdictKind.UNDECIDED, Because.WARM_UNCLEAR),
    Warm.LOWER: WarmRow(VerdictKind.UNDECIDED, Because.WARM_LOWER),
    Warm.HIGHER: WarmRow(VerdictKind.UNDECIDED, Because.WARM_HIGHER),
    Warm.BEYOND: WarmRow(None, Because.WARM_BEYOND),
    Warm.UNSTEADY: WarmRow(VerdictKind.SECONDARY_FAULT, Because.WARM_UNSTEADY),
    Warm.OPEN: WarmRow(VerdictKind.SECONDARY_FAULT, Because.WARM_OPEN),
}
"""What a hot secondary makes of the verdict."""
WARM_PRIMARY: Mapping[Warm, WarmRow] = {
    outcome: replace(row, kind=VerdictKind.PRIMARY_FAULT) if row.kind is VerdictKind.SECONDARY_FAULT else row
    for outcome, row in WARM.items()
}
"""The same of a hot primary. It condemns whatever is known of electronics: a primary that reads as a bare winding when it is
cold is read through none (reasoned here, no source).
"""


@dataclass(frozen=True, slots=True)
class WarmTap:
    """How one winding is judged hot.

    `rows` is its table; from `open_ohm` on it is open; contacts alone differ by `scatter_ohm`; `cold` are the classes of cold
    readings it is compared with; `fault` names the row of a verdict that it condemns.
    """

    rows: Mapping[Warm, WarmRow]
    open_ohm: Decimal
    scatter_ohm: Decimal
    cold: frozenset[Class]
    fault: str


WARM_TAPS: Mapping[Tap, WarmTap] = {
    Tap.SECONDARY: WarmTap(WARM, SECONDARY_BAD_OHM, SCATTER_OHM, frozenset({Class.USUAL, Class.NEAR}), "warm-fault"),
    Tap.PRIMARY: WarmTap(
        WARM_PRIMARY,
        PRIMARY_SUSPICIOUS_OHM,
        PRIMARY_SCATTER_OHM,
        frozenset({Class.USUAL, Class.NEAR, Class.TOO_SMALL}),
        "warm-primary-fault",
    ),
}
"""The secondary first: it is what breaks more often when hot (common practice, no source)."""
BESIDE_COPPER = frozenset({Because.WARM_AS_COPPER, Because.WARM_UNCLEAR, Because.WARM_LOWER, Because.WARM_HIGHER})
"""What is said of a hot value beside what copper makes of the cold one."""
TRIES = 3
"""So many hot readings of one winding are asked for at most: the coil has cooled by then."""
BREAKS = frozenset({Warm.UNSTEADY, Warm.OPEN})
"""Outcomes that condemn once the reading was taken twice."""


def expected_span(case: Case, cold_ohm: Decimal, tap: Tap) -> Span:
    """Between which values copper puts a winding that read `cold_ohm`, all temperatures as far as they are known.

    A plug cap that stayed on does not rise with the copper: of any kind of cap, none included, the reading may be.
    """
    half = SHOP_HALF_SPAN_K if case.coil_at_c is None else KNOWN_HALF_SPAN_K
    cold_c = ROOM_C if case.coil_at_c is None else case.coil_at_c
    lowest_c, highest_c = (
        (cold_c, HOTTEST_C)
        if case.warm_at_c is None
        else (case.warm_at_c - WARM_HALF_SPAN_K, case.warm_at_c + WARM_HALF_SPAN_K)
    )
    least, most = copper_ratio(cold_c + half, lowest_c), copper_ratio(cold_c - half, highest_c)
    cap_ohm = min(CAPS_OHM[-1][1], cold_ohm) if tap is Tap.SECONDARY and case.cap_on else Decimal(0)
    ends = [(cold_ohm - cap) * ratio + cap for cap in (Decimal(0), cap_ohm) for ratio in (least, most)]
    return (min(ends), max(ends))


def cold_beside(case: Case, cold: TapResult) -> Measured | None:
    """The value that hot readings of a winding are compared with; None without hot readings, or where it tells nothing."""
    return cold.measured if case.hot(cold.tap) and cold.kind in WARM_TAPS[cold.tap].cold else None


def seen_warm(case: Case, cold: Measured, reading: Reading, tap: Tap = Tap.SECONDARY) -> Warm:
    """The class of one hot reading of a winding beside the cold one.

    AS_COPPER within contact scatter of what copper does, whatever the meter's doubt; LOWER and HIGHER beyond that and the
    doubt together; UNCLEAR between. So a worse meter decides less, never otherwise.
    """
    low_ohm, high_ohm = expected_span(case, cold.value_ohm, tap)
    if reading.shown is Shown.UNSTEADY:
        return Warm.UNSTEADY
    warm = less_leads(case, reading, tap, f"warm {tap.value}")
    if warm is None:
        short = reading.range_ohm is not None and reading.range_ohm <= max(high_ohm, cold.value_ohm)
        return Warm.BEYOND if short else Warm.OPEN
    if warm.value_ohm >= max(WARM_TAPS[tap].open_ohm, high_ohm):
        return Warm.OPEN
    scatter_ohm = WARM_TAPS[tap].scatter_ohm + warm.value_ohm * SCATTER_PERCENT / 100
    beyond_ohm = max(low_ohm - warm.value_ohm, warm.value_ohm - high_ohm) - scatter_ohm
    if beyond_ohm <= 0:
        return Warm.AS_COPPER
    if beyond_ohm <= Decimal((warm - cold).expanded_ohm):
        return Warm.UNCLEAR
    return Warm.LOWER if warm.value_ohm < low_ohm else Warm.HIGHER


def breaks_twice(case: Case, cold: Measured, tap: Tap = Tap.SECONDARY) -> bool:
    """Whether the last two hot readings of a winding both are a break."""
    last_two = [seen_warm(case, cold, reading, tap) in BREAKS for reading in case.hot(tap)[-2:]]
    return last_two == [True, True]


def wants_again(case: Case, cold: Measured, tap: Tap = Tap.SECONDARY) -> bool:
    """Whether a hot reading is to be taken once more: a break seen once, or a range that was too low; three times at most."""
    readings = case.hot(tap)
    if not readings or len(readings) >= TRIES:
        return False
    last = seen_warm(case, cold, readings[-1], tap)
    return last is Warm.BEYOND or (last in BREAKS and not breaks_twice(case, cold, tap))
