"""A coil's readings beside the shop's own earlier ones of the same coil, as the index has them."""

from dataclasses import dataclass
from decimal import Decimal

from assistant.measure.coil import Stroke, Tap
from assistant.measure.earlier import Circumstances, Earlier, Past, beside_earlier, other_cap
from assistant.measure.measured import COVERAGE_FACTOR, Measured, Part
from assistant.records.index import Index, Read

TAPS = (Tap.PRIMARY, Tap.SECONDARY)
"""The comparison at the kill tab is left out: it repeats these two."""


@dataclass(frozen=True, slots=True)
class Beside:
    """The readings of one job beside the earlier ones of its coil, and how many of those were left out, and why.

    `other_engine`: a two-stroke beside a four-stroke is another coil of the same name. `other_cap`: the plug cap was on for the
    one and off for the other.
    """

    found: tuple[Earlier, ...] = ()
    other_engine: int = 0
    other_cap: int = 0


def earlier(index: Index, folder: str) -> Beside:
    """One job beside the earlier ones of its coil."""
    found, engines, caps = [], 0, 0
    for tap in TAPS:
        now = index.value(folder, tap.value)
        if now is None:
            continue
        all_ = list(index.values_before(folder, tap.value))
        of_coil = [one for one in all_ if not _other_engine(one, now)]
        engines = max(engines, len(all_) - len(of_coil))
        caps += sum(other_cap(tap, _taken(one), _taken(now)) for one in of_coil)
        past = tuple(
            Past(Decimal(one.value_ohm), one.expanded_ohm, bool(one.known_good), _taken(one))
            for one in of_coil
            if one.value_ohm is not None and one.expanded_ohm is not None
        )
        beside = beside_earlier(tap, _measured(now), past, _taken(now))
        found += [] if beside is None else [beside]
    return Beside(tuple(found), engines, caps)


def _other_engine(one: Read, other: Read) -> bool:
    return Stroke.UNKNOWN.value not in {one.engine, other.engine} and one.engine != other.engine


def _taken(read: Read) -> Circumstances:
    at_c = None if read.coil_at_c is None else Decimal(read.coil_at_c)
    return Circumstances(at_c, None if read.cap_on is None else bool(read.cap_on))


def _measured(read: Read) -> Measured | None:
    if read.value_ohm is None or read.expanded_ohm is None:
        return None
    return Measured(Decimal(read.value_ohm), (Part("as it was read", read.expanded_ohm / COVERAGE_FACTOR),))
