"""A coil's readings beside the shop's own earlier ones of the same coil, as the index has them."""

from decimal import Decimal

from assistant.measure.coil import Tap
from assistant.measure.earlier import Earlier, Past, beside_earlier
from assistant.measure.measured import COVERAGE_FACTOR, Measured, Part
from assistant.records.index import Index

TAPS = (Tap.PRIMARY, Tap.SECONDARY)
"""The comparison at the kill tab is left out: it repeats these two."""


def earlier(index: Index, folder: str) -> tuple[Earlier, ...]:
    """The readings of one job beside the earlier ones of its coil; empty when there are none."""
    found = []
    for tap in TAPS:
        now = index.value(folder, tap.value)
        if now is None:
            continue
        past = tuple(Past(Decimal(one), u, good) for one, u, good in index.values_before(folder, tap.value))
        beside = beside_earlier(tap, _measured(*now), past)
        found += [] if beside is None else [beside]
    return tuple(found)


def _measured(value_ohm: str | None, expanded_ohm: float | None) -> Measured | None:
    if value_ohm is None or expanded_ohm is None:
        return None
    return Measured(Decimal(value_ohm), (Part("as it was read", expanded_ohm / COVERAGE_FACTOR),))
