"""The judgement: one table of verdicts, and the function that finds the row.

The table is read from the top; the first row that fits a case counts. A row says what the readings mean once its
`again` readings were taken twice with one outcome; until then it asks for them. Whatever condemns a coil has them, so
nothing is condemned by a single reading.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

from assistant.measure.case import FAULTS, Because, Case, Prepare, Reason, TapResult, Verdict, VerdictKind
from assistant.measure.classify import Seen, classify
from assistant.measure.coil import CLASSES, Class, Electronics, Stroke, Tap
from assistant.measure.doubt import doubts, half_a_digit
from assistant.measure.guidance import cautions_for, next_for, unproven_for
from assistant.measure.measured import Measured
from assistant.measure.warm import BESIDE_COPPER, WARM_TAPS, breaks_twice, cold_beside, expected_span, seen_warm

__all__ = [
    "CLASSES",
    "FAULTS",
    "VERDICTS",
    "Because",
    "Case",
    "Class",
    "Electronics",
    "Prepare",
    "Reason",
    "Row",
    "Stroke",
    "Tap",
    "TapResult",
    "Verdict",
    "VerdictKind",
    "judge",
    "row_for",
    "warm_beside",
]

Classes = frozenset[Class]

_P_OK = frozenset({Class.USUAL, Class.NEAR, Class.TOO_SMALL})
_P_OFF = frozenset({Class.RAISED, Class.SUSPICIOUS})
_S_OK = frozenset({Class.USUAL, Class.NEAR})
_K_BROKEN = frozenset({Class.HIGH, Class.UNSTEADY, Class.OPEN})
"""What a broken winding makes of K; only these may help to condemn one."""
_K_UNLIKE = _K_BROKEN | {Class.DIFFERENT}
_ANY = frozenset(Class)
_ANY_ELECTRONICS = frozenset(Electronics)
_PLAIN = frozenset({Electronics.NO})


def _only(*classes: Class) -> Classes:
    return frozenset(classes)


@dataclass(frozen=True, slots=True)
class Row:
    """One row: which classes it fits, and what they mean.

    `single`: the row fits only while that reading has not been taken twice with one outcome. `want` are readings to
    be taken if they are missing, `again` readings that must have been taken twice; `meanwhile` is the kind as long as
    any of them is open, `kind` afterwards. `prepare` is done before the first of them.
    """

    id: str
    p: Classes
    s: Classes
    k: Classes
    kind: VerdictKind
    meanwhile: VerdictKind = VerdictKind.REPEAT
    electronics: frozenset[Electronics] = _ANY_ELECTRONICS
    single: Tap | None = None
    want: tuple[Tap, ...] = ()
    again: tuple[Tap, ...] = ()
    prepare: tuple[Prepare, ...] = ()
    reasons: tuple[Because, ...] = ()


_P, _S, _K = Tap.PRIMARY, Tap.SECONDARY, Tap.KILLTAB

VERDICTS: tuple[Row, ...] = (
    Row("primary-missing", _only(Class.NOT_TAKEN), _ANY, _ANY,
        VerdictKind.UNDECIDED, VerdictKind.UNDECIDED, want=(_P, _S)),
    Row("secondary-missing", _ANY, _only(Class.NOT_TAKEN), _ANY,
        VerdictKind.UNDECIDED, VerdictKind.UNDECIDED, want=(_S,)),
    Row("primary-raised", _only(Class.RAISED), _ANY, _ANY,
        VerdictKind.UNDECIDED, single=_P, again=(_P,), prepare=(Prepare.CLEAN_CORE, Prepare.CLEAN_TAB)),
    Row("secondary-low", _ANY, _only(Class.LOW), _ANY,
        VerdictKind.UNDECIDED, again=(_S,), prepare=(Prepare.SAY_UNIT,), reasons=(Because.NO_MAKERS_FIGURE,)),
    Row("secondary-raised", _ANY, _only(Class.RAISED), _ANY,
        VerdictKind.UNDECIDED, again=(_S,), prepare=(Prepare.LEAD_AND_CAP_OFF, Prepare.CLEAN_CORE),
        reasons=(Because.NO_MAKERS_FIGURE,)),
    Row("secondary-beyond", _ANY, _only(Class.BEYOND), _ANY,
        VerdictKind.UNDECIDED, again=(_S,),
        prepare=(Prepare.HIGHER_RANGE, Prepare.LEAD_AND_CAP_OFF, Prepare.CLEAN_CORE),
        reasons=(Because.RANGE_TOO_LOW,)),
    Row("sound", _P_OK, _S_OK, _only(Class.SAME, Class.NOT_TAKEN), VerdictKind.SOUND),
    Row("killtab-unclear", _ANY, _S_OK, _only(Class.UNCLEAR),
        VerdictKind.UNDECIDED, again=(_K,), prepare=(Prepare.CLEAN_TAB,)),
    Row("killtab-blind", _ANY, _S_OK, _only(Class.BLIND),
        VerdictKind.UNDECIDED, again=(_P,), prepare=(Prepare.CLEAN_CORE, Prepare.CLEAN_TAB)),
    Row("contradiction", _P_OK, _S_OK, _K_UNLIKE,
        VerdictKind.UNDECIDED, again=(_K, _P), prepare=(Prepare.CLEAN_TAB, Prepare.CLEAN_CORE)),
    Row("killtab-wanted", _P_OFF, _S_OK, _only(Class.NOT_TAKEN),
        VerdictKind.UNDECIDED, VerdictKind.UNDECIDED, want=(_K,)),
    Row("primary-contact", _P_OFF, _S_OK, _only(Class.SAME),
        VerdictKind.BAD_CONTACT, VerdictKind.BAD_CONTACT, again=(_P,), prepare=(Prepare.CLEAN_CORE, Prepare.CLEAN_TAB)),
    Row("primary-fault", _only(Class.SUSPICIOUS), _S_OK, _K_BROKEN,
        VerdictKind.PRIMARY_FAULT, electronics=_PLAIN, again=(_P, _K), prepare=(Prepare.CLEAN_CORE, Prepare.CLEAN_TAB),
        reasons=(Because.ELECTRONICS_NO,)),
    Row("killtab-unexplained", _P_OFF, _S_OK, _K_UNLIKE,
        VerdictKind.UNDECIDED, electronics=_PLAIN, again=(_K, _P), prepare=(Prepare.CLEAN_TAB, Prepare.CLEAN_CORE),
        reasons=(Because.KILLTAB_UNEXPLAINED,)),
    Row("electronics", _P_OFF, _S_OK, _K_UNLIKE, VerdictKind.ELECTRONICS),
    Row("killtab-wanted-for-secondary", _ANY, _only(Class.BAD), _only(Class.NOT_TAKEN),
        VerdictKind.UNDECIDED, VerdictKind.UNDECIDED, want=(_K,)),
    Row("core-contact", _ANY, _only(Class.BAD), _only(Class.SAME),
        VerdictKind.BAD_CONTACT, VerdictKind.BAD_CONTACT, again=(_S,), prepare=(Prepare.CLEAN_CORE,)),
    Row("secondary-unclear", _ANY, _only(Class.BAD), _only(Class.UNCLEAR, Class.BLIND, Class.DIFFERENT),
        VerdictKind.UNDECIDED, again=(_S, _K), prepare=(Prepare.LEAD_AND_CAP_OFF, Prepare.CLEAN_CORE)),
    Row("secondary-fault", _P_OK, _only(Class.BAD), _K_BROKEN,
        VerdictKind.SECONDARY_FAULT, again=(_S,), prepare=(Prepare.LEAD_AND_CAP_OFF, Prepare.CLEAN_CORE)),
    Row("winding-fault", _P_OFF, _only(Class.BAD), _K_BROKEN,
        VerdictKind.WINDING_FAULT, again=(_P, _S), prepare=(Prepare.CLEAN_CORE, Prepare.LEAD_AND_CAP_OFF),
        reasons=(Because.SECONDARY_CONDEMNS,)),
)  # fmt: skip
"""Every combination of classes has a row; a test walks through all of them."""


def row_for(p: Class, s: Class, k: Class, electronics: Electronics, settled: frozenset[Tap]) -> Row:
    """The first row that fits. `settled` are the readings taken twice with one outcome."""
    return next(
        row
        for row in VERDICTS
        if p in row.p
        and s in row.s
        and k in row.k
        and electronics in row.electronics
        and (row.single is None or row.single not in settled)
    )


TRIES = 3
"""After so many readings of one pair of points that do not agree, it is asked for no more: it does not repeat.

A reading that was only above its range is no try: one more is allowed for it.
"""

_CONFIRMED_BY: Mapping[Class, Classes] = {
    **dict.fromkeys(_P_OK, _P_OK),
    **dict.fromkeys(_K_BROKEN, _K_BROKEN),
    Class.RAISED: _P_OFF,
}
"""Which classes of the reading before make one outcome with a class; any other class is confirmed by itself alone.

A milder reading never confirms a worse one: what condemns has to be read twice.
"""

_ALWAYS = (Because.NO_MAKERS_FIGURE, Because.RANGE_TOO_LOW, Because.ELECTRONICS_NO, Because.KILLTAB_UNEXPLAINED)
"""Reasons of a row that hold whatever became of it; the others only when it condemns."""

_K_REASONS = {
    Class.OPEN: Because.KILLTAB_OPEN,
    Class.UNSTEADY: Because.KILLTAB_UNSTEADY,
    Class.HIGH: Because.KILLTAB_HIGH,
    Class.DIFFERENT: Because.KILLTAB_DIFFERS,
    Class.UNCLEAR: Because.KILLTAB_UNCLEAR,
    Class.SAME: Because.KILLTAB_AGREES,
    Class.BLIND: Because.KILLTAB_BLIND,
}

_K_REASONS_BESIDE_BAD = {
    **_K_REASONS,
    Class.HIGH: Because.KILLTAB_BAD_TOO,
    Class.DIFFERENT: Because.KILLTAB_BETWEEN,
    Class.SAME: Because.KILLTAB_GOOD,
}
"""Beside a bad secondary the comparison is with a good coil."""

_BY_CONTACT = _P_OFF | {Class.BAD} | _K_BROKEN
"""Classes that a bad probe contact explains when a repeat reads well."""

_GOOD: Mapping[Tap, Classes] = {Tap.PRIMARY: _P_OK, Tap.SECONDARY: _S_OK, Tap.KILLTAB: _only(Class.SAME)}
"""Classes that speak for the coil."""


def judge(case: Case) -> Verdict:
    """The verdict on a case; total: every case has one and nothing raises."""
    cold = _cold(case)
    verdict = cold if cold.take or cold.kind in FAULTS else _warm(case, cold)
    return replace(verdict, reasons=(*verdict.reasons, *half_a_digit(case, cold, verdict)))


def _warm(case: Case, cold: Verdict) -> Verdict:
    """The verdict once windings were read hot as well; that on the cold ones where none was."""
    hot = tuple(_hot(case, tap, value) for tap in WARM_TAPS if (value := warm_beside(case, cold, tap)) is not None)
    return _with_warm(case, cold, hot) if hot else cold


def warm_beside(case: Case, verdict: Verdict, tap: Tap) -> Measured | None:
    """The cold value that hot readings of a winding are compared with; None without hot readings, or where it tells nothing."""
    return cold_beside(case, verdict.result(tap))


@dataclass(frozen=True, slots=True)
class _Hot:
    """What the hot readings of one winding make of the verdict: its kind (None leaves it), why, and whether they break it."""

    tap: Tap
    kind: VerdictKind | None
    reasons: tuple[Reason, ...]
    breaks: bool


def _hot(case: Case, tap: Tap, cold: Measured) -> _Hot:
    """One winding hot. A break counts when it was read twice, and neither leads nor a plug cap can be what opens."""
    row = WARM_TAPS[tap].rows[seen_warm(case, cold, case.hot(tap)[-1], tap)]
    reasons: tuple[Reason, ...] = (Reason(row.because, tap, *expected_span(case, cold.value_ohm, tap)),)
    if case.warm_at_c is None and row.because in BESIDE_COPPER:
        reasons = (*reasons, Reason(Because.WARM_TEMPERATURE_UNKNOWN, tap))
    if row.kind not in FAULTS:
        return _Hot(tap, row.kind, reasons, breaks=False)
    against = classify(case).leads_doubt
    if not against and not breaks_twice(case, cold, tap):
        against = (Reason(Because.WARM_ONCE),)
    elif not against and tap is Tap.SECONDARY and case.cap_on:
        against = (Reason(Because.CAP_BEFORE_FAULT, tap),)
    return _Hot(tap, VerdictKind.UNDECIDED if against else row.kind, (*reasons, *against), breaks=True)


def _with_warm(case: Case, verdict: Verdict, hot: tuple[_Hot, ...]) -> Verdict:
    """The verdict once windings were read hot as well.

    What condemns counts first, then what leaves it open; beside cold readings that were left undecided nothing condemns. Where
    both windings break, the core contact that they share may be what opens: neither is condemned.
    """
    reasons = tuple(reason for one in hot for reason in one.reasons)
    faults = [one for one in hot if one.kind in FAULTS]
    kind, name = verdict.kind, verdict.row
    if sum(one.breaks for one in hot) == len(WARM_TAPS):
        kind = VerdictKind.UNDECIDED
        reasons = (*reasons, Reason(Because.WARM_BOTH))
    elif faults and kind is not VerdictKind.UNDECIDED:
        kind, name = faults[0].kind or kind, WARM_TAPS[faults[0].tap].fault
    elif any(one.kind for one in hot):
        kind = VerdictKind.UNDECIDED
    steps = next_for(kind, case.symptoms, waiting=False, leads_first=False)
    unproven = unproven_for(kind, verdict.primary.kind, verdict.killtab.kind, case)
    return replace(
        verdict,
        kind=kind,
        row=name,
        reasons=(*verdict.reasons, *dict.fromkeys(reasons)),
        unproven=tuple(key for key in unproven if key != "cold only"),
        next=tuple(key for key in steps if key != "warm again"),
    )


def _cold(case: Case) -> Verdict:
    """The verdict on the readings of the cold coil."""
    seen = classify(case)
    settled = frozenset(tap for tap in Tap if _settled(case, tap, seen.all_of(tap)))
    p, s, k = (seen.last(tap) for tap in Tap)
    row = row_for(p.kind, s.kind, k.kind, case.electronics, settled)
    open_ = [tap for tap in row.want if seen.last(tap).kind is Class.NOT_TAKEN]
    open_ += [tap for tap in row.again if tap not in settled]
    take = tuple(tap for tap in open_ if tap not in case.declined and _tries_left(seen.all_of(tap)))
    given_up = tuple(tap for tap in open_ if tap not in take)
    if set(given_up) & set(row.again):  # the other repeats would not settle it either
        take = ()
    kind = row.meanwhile if take else VerdictKind.UNDECIDED if given_up else row.kind
    leads = seen.leads_doubt if row.kind in FAULTS else ()
    doubt = doubts(kind, case, p, s)
    kind = VerdictKind.UNDECIDED if doubt or (leads and kind in FAULTS) else kind
    reasons = (
        *seen.reasons,
        *_of_row(row, kind, case),
        *_about_killtab(case, p, s, k, settled),
        *_about_repeats(seen, settled, kind),
        *leads,
        *doubt,
        *(Reason(Because.TAKE_AGAIN if case.attempts(tap) else Because.MISSING, tap) for tap in take),
        *(_given_up(case, tap) for tap in given_up),
    )
    prepare = row.prepare if take and case.attempts(take[0]) else ()
    return Verdict(
        kind=kind,
        row=row.id,
        take=take,
        prepare=prepare,
        primary=p,
        secondary=s,
        killtab=k,
        reasons=reasons,
        unproven=unproven_for(kind, p.kind, k.kind, case),
        next=next_for(kind, case.symptoms, waiting=bool(take), leads_first=bool(leads)),
        cautions=cautions_for(waiting=bool(take)),
    )


def _settled(case: Case, tap: Tap, attempts: tuple[TapResult, ...]) -> bool:
    """Whether a reading was taken twice with one outcome. With one attempt given, the caller's flag tells."""
    if len(attempts) < 2:  # noqa: PLR2004 - a repeat makes two
        return tap in case.repeated and bool(attempts)
    last = attempts[-1].kind
    return attempts[-2].kind in _CONFIRMED_BY.get(last, _only(last))


def _tries_left(attempts: tuple[TapResult, ...]) -> bool:
    return len(attempts) < TRIES + any(attempt.kind is Class.BEYOND for attempt in attempts)


def _given_up(case: Case, tap: Tap) -> Reason:
    """Why a wanted reading is not asked for."""
    if tap not in case.declined:
        return Reason(Because.DOES_NOT_REPEAT, tap)
    return Reason(Because.REPEAT_DECLINED if case.attempts(tap) else Because.DECLINED, tap)


def _of_row(row: Row, kind: VerdictKind, case: Case) -> Iterator[Reason]:
    """The row's own reasons, as far as they hold."""
    for because in row.reasons:
        if because is Because.NO_MAKERS_FIGURE and case.limits.at(Tap.SECONDARY) is not None:
            yield Reason(Because.LIMITS_ALONE, Tap.SECONDARY)
        elif because in _ALWAYS or kind in FAULTS:
            yield Reason(because)


def _about_killtab(case: Case, p: TapResult, s: TapResult, k: TapResult, settled: frozenset[Tap]) -> Iterator[Reason]:
    """What the comparison shows, and what to think of a primary that it does not clear."""
    if k.kind is Class.UNCLEAR and k.measured is None:
        yield Reason(Because.KILLTAB_RANGE_TOO_LOW, Tap.KILLTAB)
    elif k.kind is not Class.NOT_TAKEN and (k.kind, s.kind) != (Class.UNCLEAR, Class.NOT_TAKEN):
        table = _K_REASONS_BESIDE_BAD if s.kind in (Class.BAD, Class.BEYOND) else _K_REASONS
        yield Reason(table[k.kind], Tap.KILLTAB)
    stays = p.kind is Class.SUSPICIOUS or (p.kind is Class.RAISED and Tap.PRIMARY in settled)
    if not stays or k.kind is Class.SAME:
        return
    if case.electronics is not Electronics.NO:
        known = case.electronics is Electronics.YES
        yield Reason(Because.ELECTRONICS_YES if known else Because.ELECTRONICS_UNKNOWN, Tap.PRIMARY)
    if k.kind in (Class.NOT_TAKEN, Class.UNCLEAR, Class.BLIND):
        yield Reason(Because.PRIMARY_ALONE, Tap.PRIMARY)


def _about_repeats(seen: Seen, settled: frozenset[Tap], kind: VerdictKind) -> Iterator[Reason]:
    """What the repeats showed: the first reading was bad contact, or a bad reading stayed, though it began well."""
    for tap in Tap:
        attempts = seen.all_of(tap)
        if not attempts:
            continue
        earlier = frozenset(attempt.kind for attempt in attempts[:-1])
        if attempts[-1].kind not in _GOOD[tap]:
            if tap in settled:
                yield Reason(Because.STAYED, tap)
            if kind in FAULTS and earlier & _GOOD[tap]:
                yield Reason(Because.FIRST_WAS_GOOD, tap)
        elif earlier & _BY_CONTACT:
            yield Reason(Because.FIRST_WAS_CONTACT, tap)
        elif earlier - _GOOD[tap]:
            yield Reason(Because.FIRST_DIFFERED, tap)
