"""Parts beside the coil: what a reading of one should be, and what is to be said when it is not.

A reading is held against the maker's limits where there are any, else against the usual bands of its procedure file; or
it has to be open, or closed. Nothing is condemned on a single reading, nor through leads that nothing has proven.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from enum import Enum
from itertools import product

from assistant.measure.case import Verdict
from assistant.measure.coil import SECONDARY_BAD_OHM, SHOWN_MOST_OHM, Span
from assistant.measure.limits import Conformity, Limit, compared
from assistant.measure.measured import Measured
from assistant.measure.meter import Meter
from assistant.measure.spark_gap import Gap, across
from assistant.measure.units import Reading, Shown


class Wants(Enum):
    """What a reading of a part has to be."""

    BAND = "band"
    OPEN = "open"
    CLOSED = "closed"


class Finding(Enum):
    """What a reading of a part is. The four outcomes against maker's limits have the names of Zone."""

    NOT_TAKEN = "not taken"
    USUAL = "usual"
    OTHER = "outside the usual"
    READS = "reads a value"
    INSIDE = "inside"
    INSIDE_IN_DOUBT = "inside, but within the meter's doubt"
    OUTSIDE_IN_DOUBT = "outside, but within the meter's doubt"
    OUTSIDE = "outside"
    CLOSED = "closed"
    NEARLY = "not clearly closed"
    PARTLY = "neither open nor closed"
    BEYOND = "above the range"
    OPEN = "open"
    UNSTEADY = "unsteady"


OPEN_FROM_OHM: Mapping[Wants, Decimal] = {
    Wants.BAND: SECONDARY_BAD_OHM,
    Wants.OPEN: Decimal(1_000_000),
    Wants.CLOSED: Decimal(0),
}
"""Our choice: so much and more counts as open. What has to be closed is open as soon as it reads over range."""
CLOSED_MOST_OHM = Decimal(2)
"""Common practice, no source: contacts and a short wire, less the leads, read no more."""

AGAINST: Mapping[Wants, frozenset[Finding]] = {
    Wants.BAND: frozenset({Finding.OUTSIDE, Finding.OPEN, Finding.UNSTEADY}),
    Wants.OPEN: frozenset({Finding.CLOSED, Finding.PARTLY, Finding.UNSTEADY}),
    Wants.CLOSED: frozenset({Finding.OPEN, Finding.PARTLY, Finding.UNSTEADY}),
}
"""What speaks against a part; said only when it was found twice running."""
IN_DOUBT = frozenset({Finding.INSIDE_IN_DOUBT, Finding.OUTSIDE_IN_DOUBT, Finding.NEARLY, Finding.BEYOND})
"""What decides nothing."""
THROUGH_LEADS = frozenset({Finding.OPEN, Finding.UNSTEADY})
"""What broken leads read too."""
_MOST_TRIES = 4  # a meter whose highest range is too low never shows more


@dataclass(frozen=True, slots=True)
class Item:
    """One reading of a check: its step, what it has to be, the usual bands in ohms and where they come from."""

    name: str
    title: str
    wants: Wants
    usual: tuple[Span, ...] = ()
    source: str = ""


@dataclass(frozen=True, slots=True)
class PartCase:
    """Everything the judgement of a check rests on.

    `attempts` stand beside `items`, oldest first. `jumped` are the tries of a spark across `gap_mm`. `limit` is the
    maker's for the items that want a band; `left_out` names readings the person does not want to take (again).
    """

    check: str
    title: str
    meter: Meter
    items: tuple[Item, ...] = ()
    attempts: tuple[tuple[Reading, ...], ...] = ()
    leads: Reading | None = None
    limit: Limit | None = None
    part_at_c: Decimal | None = None
    left_out: frozenset[str] = frozenset()
    gap_mm: Decimal | None = None
    jumped: tuple[bool, ...] = ()


class Stand(Enum):
    """How far one reading is settled."""

    WELL = "well"
    FAULT = "fault"
    TAKE = "take"
    LEFT_OUT = "left out"
    IN_DOUBT = "in doubt"
    LEADS = "leads"


@dataclass(frozen=True, slots=True)
class ItemResult:
    """One reading of a check, judged. `contact` is True when an earlier one was worse and this one stands.

    `limit` is the maker's where it bears on this reading, whether there is a value to hold against it or not. `half_a_digit` is
    True when half a last digit more or less, of any reading or of the leads, would make it count otherwise; older records have none.
    """

    item: Item
    finding: Finding
    stand: Stand
    attempts: tuple[Reading, ...] = ()
    measured: Measured | None = None
    conformity: Conformity | None = None
    contact: bool = False
    limit: Limit | None = None
    half_a_digit: bool = field(default=False, metadata={"when_set": True})


class PartKind(Enum):
    """What a check came to."""

    WELL = "nothing-found"
    FAULT = "not-right"
    UNDECIDED = "undecided"


@dataclass(frozen=True, slots=True)
class Judgement:
    """What a check says. `take` names the reading still wanted, empty when there is none."""

    check: str
    title: str
    kind: PartKind
    results: tuple[ItemResult, ...] = ()
    take: str = ""
    gap: Gap | None = None
    jumped: tuple[bool, ...] = ()


Judged = Verdict | Judgement
"""What a session can come to: about the coil, or about another part."""


def judge_part(case: PartCase) -> Judgement:
    """The judgement of a check: of its readings, or of the sparks that jumped."""
    if not case.items:
        gap = None if case.gap_mm is None else across(case.gap_mm)
        return Judgement(case.check, case.title, _spark(case.jumped), gap=gap, jumped=case.jumped)
    results = tuple(_judged(case, item, attempts) for item, attempts in zip(case.items, case.attempts, strict=True))
    take = next((result.item.name for result in results if result.stand is Stand.TAKE), "")
    return Judgement(case.check, case.title, _kind({result.stand for result in results}), results, take)


def _spark(jumped: tuple[bool, ...]) -> PartKind:
    if len(set(jumped)) != 1:  # not tried, or it comes and goes
        return PartKind.UNDECIDED
    if jumped[0]:
        return PartKind.WELL
    return PartKind.FAULT if len(jumped) > 1 else PartKind.UNDECIDED


def _kind(stands: set[Stand]) -> PartKind:
    if Stand.FAULT in stands:
        return PartKind.FAULT
    return PartKind.WELL if stands == {Stand.WELL} else PartKind.UNDECIDED


def _judged(case: PartCase, item: Item, attempts: tuple[Reading, ...]) -> ItemResult:
    left_out = item.name in case.left_out
    limit = case.limit if item.wants is Wants.BAND else None
    if not attempts:
        return ItemResult(item, Finding.NOT_TAKEN, Stand.LEFT_OUT if left_out else Stand.TAKE, limit=limit)
    measured, findings, stand = _outcome(case, item, attempts, left_out=left_out)
    found = None
    if limit is not None and measured[-1] is not None:
        found = _against(case, limit, measured[-1])
    moved = (_outcome(case, item, attempts, halves, left_out=left_out) for halves in _MOVES)
    turned = any(_counts(other[-1], where) != _counts(findings[-1], stand) for _, other, where in moved)
    worse = any(_worse(item, *pair, measured[-1]) for pair in zip(findings[:-1], attempts[:-1], strict=True))
    contact = stand is Stand.WELL and worse
    return ItemResult(item, findings[-1], stand, attempts, measured[-1], found, contact, limit, turned)


_Halves = tuple[int, int, int]
"""Where the last reading, those before it and the leads are taken to lie, in halves of their last digit from what was shown."""
_MOVES: tuple[_Halves, ...] = tuple(product((-1, 1), (-1, 1), (-1, 1)))
"""The ends alone: no band and no doubt of a meter is narrower than half its last digit, but for ranges far too high for the part."""


def _outcome(
    case: PartCase, item: Item, attempts: tuple[Reading, ...], halves: _Halves = (0, 0, 0), *, left_out: bool
) -> tuple[list[Measured | None], list[Finding], Stand]:
    """Every try less the leads, what it is, and how far the reading is settled by them."""
    last, before, leads = halves
    moves = [*(before for _ in attempts[1:]), last]
    measured = [_measured(case, item, reading, move, leads) for reading, move in zip(attempts, moves, strict=True)]
    findings = [_finding(case, item, *pair) for pair in zip(attempts, measured, strict=True)]
    stand = _stand(item, findings, left_out=left_out)
    if stand is Stand.FAULT and findings[-1] in THROUGH_LEADS and not _leads_proven(case):
        stand = Stand.LEADS
    return measured, findings, stand


def _counts(finding: Finding, stand: Stand) -> tuple[Finding | None, Stand]:
    """What must not hang on half a last digit; what is in doubt says so already, on whichever side it lies."""
    return None if finding in IN_DOUBT else finding, stand


def _worse(item: Item, finding: Finding, reading: Reading, last: Measured | None) -> bool:
    """Whether an earlier reading spoke against the part, or was above a range that the last one lies well within."""
    if finding is not Finding.BEYOND:
        return finding in AGAINST[item.wants]
    return last is not None and reading.range_ohm is not None and last.value_ohm < reading.range_ohm


def _stand(item: Item, findings: list[Finding], *, left_out: bool) -> Stand:
    against, last = AGAINST[item.wants], findings[-1]
    if last is Finding.BEYOND:
        return Stand.IN_DOUBT if left_out or len(findings) >= _MOST_TRIES else Stand.TAKE
    if last in against:
        if len(findings) > 1 and findings[-2] in against | {Finding.BEYOND}:
            return Stand.FAULT
        return Stand.LEFT_OUT if left_out else Stand.TAKE
    return Stand.IN_DOUBT if last in IN_DOUBT else Stand.WELL


def _leads_proven(case: PartCase) -> bool:
    """Whether any value was ever read through the leads."""
    readings = [reading for attempts in case.attempts for reading in attempts]
    return any(reading.quantity is not None for reading in (*readings, *([case.leads] if case.leads else [])))


def _measured(case: PartCase, item: Item, reading: Reading, halves: int, leads_halves: int) -> Measured | None:
    """The value less the leads, both so many halves of their last digit higher; None without a value.

    Leads that read more than the part are not subtracted.
    """
    if reading.quantity is None or reading.quantity.ohms > SHOWN_MOST_OHM:
        return None
    value = case.meter.measured(reading.quantity, case.meter.range_for(reading), item.name, halves)
    if case.leads is None or case.leads.quantity is None:
        return value
    less = value - case.meter.measured(case.leads.quantity, case.meter.range_for(case.leads), "leads", leads_halves)
    return less if less.value_ohm >= 0 else value


def _finding(case: PartCase, item: Item, reading: Reading, measured: Measured | None) -> Finding:
    if reading.shown is Shown.UNSTEADY:
        return Finding.UNSTEADY
    open_from_ohm = OPEN_FROM_OHM[item.wants]
    if measured is None:
        short = reading.range_ohm is not None and reading.range_ohm < open_from_ohm
        return Finding.BEYOND if short else Finding.OPEN
    value_ohm = measured.value_ohm
    if item.wants is Wants.BAND:
        return _in_band(case, item, measured)
    if item.wants is Wants.OPEN and value_ohm >= open_from_ohm:
        return Finding.OPEN
    if value_ohm <= CLOSED_MOST_OHM:
        return Finding.CLOSED
    doubtful = value_ohm - Decimal(measured.expanded_ohm) <= CLOSED_MOST_OHM
    return Finding.NEARLY if doubtful and item.wants is Wants.CLOSED else Finding.PARTLY


def _against(case: PartCase, limit: Limit, measured: Measured) -> Conformity:
    """Limits without a temperature may be those of a resistor, which does not rise as copper does."""
    return compared(measured, limit, case.part_at_c, cap_on=None, copper=limit.at_c is not None)


def _in_band(case: PartCase, item: Item, measured: Measured) -> Finding:
    value_ohm = measured.value_ohm
    if case.limit is not None:
        return Finding(_against(case, case.limit, measured).zone.value)
    if value_ohm >= OPEN_FROM_OHM[Wants.BAND]:
        return Finding.OPEN
    if not item.usual:
        return Finding.READS
    return Finding.USUAL if any(low <= value_ohm <= high for low, high in item.usual) else Finding.OTHER
