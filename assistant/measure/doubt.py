"""What a verdict is within the meter's doubt of: edges that its U reaches across, and what half a last digit could turn.

A value may lie anywhere within half its last digit of what was shown. So every reading is classified again with the
values moved as far as that in each direction that counts; where something that carries the verdict comes out otherwise,
the verdict says so.
"""

from collections.abc import Iterator
from dataclasses import replace
from decimal import Decimal

from assistant.measure.case import FAULTS, Because, Case, Moved, Reason, TapResult, Verdict, VerdictKind
from assistant.measure.classify import Seen, classify
from assistant.measure.coil import PRIMARY_NEAR_MOST_OHM, PRIMARY_SUSPICIOUS_OHM, SECONDARY_BAD_OHM, Class, Tap
from assistant.measure.measured import Measured
from assistant.measure.warm import WARM_TAPS, cold_beside, seen_warm

_PRIMARY_FROM_OHM = {VerdictKind.ELECTRONICS: PRIMARY_NEAR_MOST_OHM, VerdictKind.PRIMARY_FAULT: PRIMARY_SUSPICIOUS_OHM}
"""Above what a primary has to lie for these."""


def doubts(kind: VerdictKind, case: Case, p: TapResult, s: TapResult) -> tuple[Reason, ...]:
    """Why a decision cannot stand: what carries it is within the meter's doubt, or a plug cap may be the cause."""
    why = []
    if kind in _PRIMARY_FROM_OHM and _reaches(p, _PRIMARY_FROM_OHM[kind]):
        why.append(Reason(Because.IN_DOUBT, Tap.PRIMARY, high_ohm=_PRIMARY_FROM_OHM[kind]))
    if kind in (VerdictKind.SECONDARY_FAULT, VerdictKind.WINDING_FAULT):
        if _reaches(s, SECONDARY_BAD_OHM):
            why.append(Reason(Because.IN_DOUBT, Tap.SECONDARY, high_ohm=SECONDARY_BAD_OHM))
        if case.cap_on:
            why.append(Reason(Because.CAP_BEFORE_FAULT, Tap.SECONDARY))
    return tuple(why)


def _reaches(result: TapResult, edge_ohm: Decimal) -> bool:
    """Whether the true value may lie below the edge that the reading lies above."""
    return result.measured is not None and result.measured.value_ohm - Decimal(result.measured.expanded_ohm) < edge_ohm


_MOVES = tuple(Moved(-up, up, others) for up in (1, -1) for others in (1, -1))
"""Windings up while the leads go down and the other way round: less the leads, nothing lies farther out. The comparison
and what was read hot both with the windings and against them.
"""


def half_a_digit(case: Case, cold: Verdict, verdict: Verdict) -> Iterator[Reason]:
    """Which readings half a last digit would make count otherwise, so that the verdict may be another one."""
    seen = classify(case)
    cases = tuple(replace(case, moved=moved) for moved in _MOVES)
    others = tuple((other, classify(other)) for other in cases)
    for tap in Tap:
        carries = _carries(case, seen, cold, tap)
        if any(_carries(other, moved, cold, tap) != carries for other, moved in others):
            yield Reason(Because.HALF_A_DIGIT, tap)
    condemns = verdict.kind in FAULTS or set(seen.leads_doubt) & set(verdict.reasons)
    if condemns and any(bool(moved.leads_doubt) is not bool(seen.leads_doubt) for _, moved in others):
        yield Reason(Because.LEADS_HALF_A_DIGIT)


def _carries(case: Case, seen: Seen, cold: Verdict, tap: Tap) -> tuple[object, ...]:
    """What one pair of points contributes to a verdict: its classes, doubts against the verdict, what it was hot."""
    last = seen.last(tap)
    classes = tuple(Class.USUAL if attempt.kind is Class.NEAR else attempt.kind for attempt in seen.all_of(tap))
    against = doubts(cold.kind, case, seen.last(Tap.PRIMARY), seen.last(Tap.SECONDARY))
    beside = cold_beside(case, last) if tap in WARM_TAPS else None
    hot = () if beside is None else tuple(_hot(case, tap, beside))
    return (classes, any(reason.tap is tap for reason in against), hot)


def _hot(case: Case, tap: Tap, cold: Measured) -> Iterator[VerdictKind | None]:
    for reading in case.hot(tap):
        yield WARM_TAPS[tap].rows[seen_warm(case, cold, reading, tap)].kind
